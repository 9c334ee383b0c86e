"""One function that takes any bytes through the whole sans-I/O core, for every fuzzer.

The first bytes choose framing and how the rest is cut; the rest is what a host sent.
"""

from client.form import Profile
from client.framing import MAX_FRAME_BYTES, Framing, framer
from client.jsonrpc import Peer, Refused
from client.learn.sniff import Cut, SniffingFramer
from client.mapping import Mapper
from client.plan import plan_of
from client.saying import SAID_KEY
from shared import toml
from shared.absent import absent_key
from shared.hostclock import TIMEKEEPING
from shared.link import LINK
from shared.text import MAX_TEXT
from shared.unreadable import UNREADABLE
from shared.updates import Entry, EntryKind, Update
from shared.words import is_number_key

PROFILE_TEXT = """\
format = 1
sends = "changes"
[[requests]]
json = '{"method": "a"}'
[[updates]]
answer_to = "a"
status = "/result"
clock = "/result/t"
pace = "/result/p"
[[updates]]
method = "n"
status = "/params/0"
clock = "/params/1"
[[updates]]
has = "/w"
status = "/d"
under = "/w"
[[updates]]
[channels.a]
temperature_c = { at = "/a/t", unit = "kelvin" }
target_c = "/a/g"
power = "/a/p"
code = "/a/c"
flags = { at = "/a/f", bits = { 0 = "open", 5 = "short" } }
[channels.b]
item = { list = "/l", key = "/n", equals = "b" }
temperature_c = "/t"
[channels.c]
temperature_c = { at = "/v", item = { list = "/l", key = "/0", equals = 3 } }
[channels.host]
message = "/m"
state = { at = "/s", words = { r = "up", h = "halted" } }
[[messages]]
pattern = "sensor .* off"
channel = "a"
flags = "open"
"""
PROFILE = toml.loads(PROFILE_TEXT, Profile, "fuzz")
plan_of(PROFILE)
SNIFF_FROM = 240
"""Recognising the framing is far slower than the rest, so only some runs do it."""
FRAMINGS: tuple[Framing, ...] = ("message", "newline", "sequence", "delimiter", "length")
KEYS = {
    *("a.temperature_c", "a.target_c", "a.power", "a.code", "a.flags", "b.temperature_c"),
    *("c.temperature_c", "host.message", "host.state", TIMEKEEPING, UNREADABLE, LINK, SAID_KEY),
}
KEYS |= {absent_key(key) for key in KEYS if is_number_key(key)}


class Core:
    """A host's whole way in, from bytes to updates, with what must hold after each step."""

    def __init__(self) -> None:
        self.mapper = Mapper(PROFILE)
        self.last_s: float | None = None
        self.messages = 0

    def take(self, data: bytes, own_s: float) -> None:
        """One run of bytes on a fresh connection. AssertionError when a promise is broken."""
        if len(data) < 2:
            return
        framing, size = FRAMINGS[data[0] % len(FRAMINGS)], data[1] % 64 + 1
        frames, sniffing, peer = framer(framing, 0x17), SniffingFramer(Cut("newline")), Peer()
        peer.request("a")
        body = data[2:]
        pieces = [body] if framing == "message" else _cut(body, size)
        for piece in pieces:
            for frame in frames.feed(piece):
                assert 0 < len(frame) <= MAX_FRAME_BYTES
                self._frame(frame, own_s, peer)
            if data[1] >= SNIFF_FROM:
                sniffing.feed(piece)

    def _frame(self, frame: bytes, own_s: float, peer: Peer) -> None:
        self.messages += 1
        try:
            peer.receive(frame)
        except Refused as refused:
            why = str(refused)
            assert len(why) < MAX_TEXT
        for update in self.mapper.feed(Entry(own_s, EntryKind.MESSAGE, frame)):
            self._check(update)

    def _check(self, update: Update) -> None:
        assert self.last_s is None or update.time_s >= self.last_s
        self.last_s = update.time_s
        assert update.values.keys() <= KEYS
        for value in update.values.values():
            if isinstance(value, str):
                assert len(value) <= 16 * 41
                assert value.isprintable()
            else:
                assert abs(value) < 1e15


def _cut(body: bytes, size: int) -> list[bytes]:
    return [body[at : at + size] for at in range(0, len(body), size)]
