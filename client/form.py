"""The form of a profile: how a host is reached, what is sent to it, and how its names map to ours.

A profile is a TOML file; `docs/profiles.md` explains it key by key. Pointers are JSON
Pointers (RFC 6901). Those of `[[updates]]` start at the whole message; those of a channel
start at the status that the `[[updates]]` entry points to.
"""

from typing import Literal

import msgspec

from client.framing import MAX_FRAME_BYTES, Framing
from shared.chain import Chain
from shared.words import HostState, Kind

DEFAULT_SILENCE_S = 5.0


class Profile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """All that is known of a host before it has said a word."""

    format: Literal[1]
    """Version of this form."""
    title: str = ""
    addresses: tuple[str, ...] = ()
    """Addresses of one host, tried in order: ws://, wss://, tcp://, unix:."""
    framing: Framing | None = None
    """How frames are kept apart; left out: "message" for ws and wss, "newline" for others."""
    delimiter: int = 0x0A
    """Byte that ends a frame, for framing = "delimiter"."""
    largest_bytes: int = MAX_FRAME_BYTES
    """Of a longer frame only the beginning is taken, and told as unreadable."""
    silence_s: float = DEFAULT_SILENCE_S
    """How long the host may be silent before it is asked for a sign of life."""
    sends: Literal["everything", "changes"] = "changes"
    """Whether each update repeats everything or holds only what changed."""
    clock_unit: Literal["s", "ms", "us", "ns", "iso"] = "s"
    token: "Token | None" = None
    ca_file: str = ""
    """PEM file of a private certificate authority, trusted besides none other."""
    requests: tuple["Request", ...] = ()
    """What is sent after each connect, in order."""
    keep_alive: "KeepAlive | None" = None
    updates: tuple["UpdateSource", ...] = ()
    """Where updates come from; the first entry that fits a message reads it."""
    heard: tuple[str, ...] = ()
    """Names that the host's messages are known to bear; others are told as unreadable."""
    messages: tuple["MessageRule", ...] = ()
    """What is made of the host's messages; the first rule that fits counts."""
    channels: dict[str, "Channel"] = {}

    @property
    def sent(self) -> tuple[str, ...]:
        """JSON texts of all that is sent to the host, its keep-alive too."""
        alive = () if self.keep_alive is None else (self.keep_alive.json,)
        return (*(request.json for request in self.requests), *alive)

    @property
    def chains(self) -> dict[str, Chain]:
        """Chain facts by channel, where the profile knows them."""
        return {name: c.chain for name, c in self.channels.items() if c.chain is not None}


class Request(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A request as JSON text; `envelope` puts JSON-RPC's version and id around it."""

    json: str
    envelope: bool = True
    every_s: float | None = None
    """Ask again each so many seconds, once the last answer has come; left out: ask once."""


class KeepAlive(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A request sent each `every_s`, for hosts that close a quiet link."""

    json: str
    every_s: float
    envelope: bool = True


class Token(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where the secret is kept (never in the profile), and the header that carries it."""

    env: str = ""
    """Name of an environment variable; looked at first."""
    file: str = ""
    """File that only its owner may read (mode 0600)."""
    header: str = "Authorization"
    prefix: str = "Bearer "


class UpdateSource(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Messages that carry readings: called by `method`, answering `answer_to`, or `has`-ing."""

    method: str = ""
    answer_to: str = ""
    has: str | None = None
    """Pointer that must be there, for JSON without an envelope."""
    equals: str | int | bool | None = None
    """What must be there; left out: anything."""
    status: str = ""
    pairs: bool = False
    """Whether rows stand there that their first cell names, in place of an object."""
    under: str | tuple[str, ...] | None = None
    """Pointer to the name under which the status is then put, for messages about one channel;
    several put it under each name in turn."""
    clock: str | None = None
    pace: str | None = None
    """Simulated seconds per second; only a simulated host has it."""


class Reading(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One quantity: where it is and what turns it into ours.

    Numbers: ours = (theirs · scale + offset) in `unit`; `words` gives numbers of ours for words,
    true, false and null. Texts: `words` maps theirs to ours. Flags: `words` for words, `bits`
    (bit number → word) for a number.
    """

    at: str
    item: "Item | None" = None
    """Start at this item of an array instead of the channel's."""
    unit: str = ""
    scale: float = 1.0
    offset: float = 0.0
    words: dict[str, str] = {}
    bits: dict[str, str] = {}
    patterns: dict[str, str] = {}
    """State: ours by a pattern of theirs (`client.patterns`), for words that `words` lacks."""
    other: HostState | None = None
    """State: what any other word means; left out, it is told and taken for nothing."""


class Item(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The item of the array at `list` whose `key` equals `equals`, wherever it stands."""

    list: str
    key: str
    equals: str | int


class Channel(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One channel: pointers by quantity, from `base` (or from an array's item) on."""

    base: str = ""
    item: Item | None = None
    temperature_c: str | Reading | None = None
    target_c: str | Reading | None = None
    power: str | Reading | None = None
    code: str | Reading | None = None
    resistance_ohm: str | Reading | None = None
    flags: str | Reading | None = None
    x_mm: str | Reading | None = None
    y_mm: str | Reading | None = None
    z_mm: str | Reading | None = None
    speed_mm_s: str | Reading | None = None
    feed_mm_s: str | Reading | None = None
    speed: str | Reading | None = None
    uptime_s: str | Reading | None = None
    state: str | Reading | None = None
    message: str | Reading | None = None
    chain: Chain | None = None

    @property
    def readings(self) -> dict[str, Reading]:
        """Readings by quantity."""
        named = {name: getattr(self, name) for name in READING_NAMES}
        return {
            name: Reading(at=value) if isinstance(value, str) else value
            for name, value in named.items()
            if value is not None
        }


READING_NAMES = tuple(
    name for name in Channel.__struct_fields__ if name not in ("base", "item", "chain")
)


class MessageRule(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a message that fits `pattern` means; see `client.patterns` for the patterns."""

    pattern: str
    kind: Kind | None = None
    """Event kind, given as text under `CHANNEL.reported`."""
    channel: str = "host"
    flags: str = ""
    """Flag words that the message raises on `channel`."""
    state: HostState | None = None
    keep: bool = True
    """Whether the text itself is kept as `host.message`."""
