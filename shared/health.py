"""How far a channel's reading can be trusted right now."""

from enum import StrEnum

import msgspec

from shared.words import Gate


class Trust(StrEnum):
    """Answer to the question "is this reading true?"."""

    TRUE = "true"
    SHELVED = "shelved"
    """Not to be believed for a fault that a person has shelved, and for no other."""
    DOUBTFUL = "doubtful"
    FALSE = "false"
    UNKNOWN = "unknown"


class ChannelHealth(msgspec.Struct, frozen=True, kw_only=True):
    """One channel at one moment: what it says, whether to believe it, since when and why."""

    channel: str
    trust: Trust
    since_s: float
    why: str
    """One short sentence; names the event's kind where there is one."""
    gate: Gate
    temperature_c: float | None = None
    target_c: float | None = None
    power: float | None = None
    code: float | None = None
    resistance_ohm: float | None = None
    last_update_s: float | None = None
