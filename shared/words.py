"""The vocabulary: quantities, states, event kinds, causes and severities.

Plain logs, recordings, JSON output and screens use these words and no others.
Severities are the status categories of NAMUR NE 107, and `notice` below them.
"""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """Status category of NAMUR NE 107, or `notice` for what needs nothing."""

    FAILURE = "failure"
    CHECK_FUNCTION = "check-function"
    OUT_OF_SPECIFICATION = "out-of-specification"
    MAINTENANCE_REQUIRED = "maintenance-required"
    NOTICE = "notice"

    @property
    def rank(self) -> int:
        """0 for a notice, rising to 4 for a failure."""
        return _SEVERITY_RANK[self]


_SEVERITY_RANK = {severity: rank for rank, severity in enumerate(reversed(Severity))}


class Kind(StrEnum):
    """What a detector can find."""

    STARTUP_TRANSIENT = "startup-transient"
    CODE_HIGH = "code-high"
    CODE_LOW = "code-low"
    CONVERTER_FLAG = "converter-flag"
    CONTACT_BREAK = "contact-break"
    SPIKE = "spike"
    BIT_FLIP = "bit-flip"
    STEP = "step"
    NOISE_RISE = "noise-rise"
    INTERFERENCE = "interference"
    MAINS_BEAT = "mains-beat"
    FROZEN = "frozen"
    STALE = "stale"
    LINK_LOSS = "link-loss"
    RESTART = "restart"
    HALT = "halt"
    OFFSET_COLD = "offset-cold"
    DRIFT = "drift"
    NO_RISE = "no-rise"
    RISE_UNPOWERED = "rise-unpowered"
    JOINT_JUMP = "joint-jump"
    UNKNOWN_STATE = "unknown-state"
    HOST_CLOCK = "host-clock"
    UNREADABLE = "unreadable"


class Cause(StrEnum):
    """What can be wrong with a sensor chain, or with what surrounds it."""

    LOOSE_CONNECTION = "loose-connection"
    BROKEN_LEAD = "broken-lead"
    BUS_WIRING = "bus-wiring"
    SUPPLY = "supply"
    INPUT_FILTER = "input-filter"
    CABLE_PICKUP = "cable-pickup"
    GROUND_LOOP = "ground-loop"
    LEAD_RESISTANCE = "lead-resistance"
    WIRE_COUNT_SETTING = "wire-count-setting"
    REFERENCE_SETTING = "reference-setting"
    CURVE_SETTING = "curve-setting"
    SENSOR_FAILED = "sensor-failed"
    SENSOR_SEATING = "sensor-seating"
    HEATER_CIRCUIT = "heater-circuit"
    SETTLING_AFTER_RESTART = "settling-after-restart"
    MAINS_PICKUP = "mains-pickup"
    HOST_LOAD = "host-load"
    NETWORK = "network"


class HostState(StrEnum):
    """State of the printer host as this program sees it."""

    STARTING = "starting"
    UP = "up"
    HALTED = "halted"
    GONE = "gone"


class Act(StrEnum):
    """What a person does with an event; also the kind of the note that records it.

    Acknowledging and shelving are terms of alarm management (ISA-18.2, IEC 62682; from memory).
    """

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"


class Gate(StrEnum):
    """What a channel is doing, so that a detector knows what it may judge."""

    STARTING = "starting"
    COLD = "cold"
    HEATING = "heating"
    HOLDING = "holding"
    PRINTING = "printing"
    COOLING = "cooling"
    HALTED = "halted"


@dataclass(frozen=True, slots=True)
class Quantity:
    """One column suffix of a plain log: its name, unit, and whether it is a number."""

    name: str
    unit: str
    is_number: bool = True


QUANTITIES = {
    quantity.name: quantity
    for quantity in (
        Quantity("temperature_c", "°C"),
        Quantity("target_c", "°C"),
        Quantity("power", "1"),
        Quantity("code", "codes"),
        Quantity("resistance_ohm", "Ω"),
        Quantity("flags", "", is_number=False),
        Quantity("x_mm", "mm"),
        Quantity("y_mm", "mm"),
        Quantity("z_mm", "mm"),
        Quantity("speed_mm_s", "mm/s"),
        Quantity("feed_mm_s", "mm/s"),
        Quantity("speed", "1"),
        Quantity("uptime_s", "s"),
        Quantity("state", "", is_number=False),
        Quantity("message", "", is_number=False),
    )
}

SENSOR_QUANTITIES = ("temperature_c", "code", "resistance_ohm")
"""What a sensor gives; any of them is a reading of its channel."""

EVERY_CHANNEL = "*"
"""Channel of an event that means every channel, or the link itself."""


def channel_word(channel: str) -> str:
    """A channel as a person reads it."""
    return "all" if channel == EVERY_CHANNEL else channel


NO_FLAGS = "none"
"""What the `flags` quantity says when no flag is up."""


def channel_of(key: str) -> str:
    """Channel part of a `CHANNEL.QUANTITY` key (a channel's name may hold dots)."""
    return key.rpartition(".")[0]


def quantity_of(key: str) -> str:
    """Quantity part of a `CHANNEL.QUANTITY` key."""
    return key.rpartition(".")[2]


def is_number_key(key: str) -> bool:
    """Whether the values of this key are numbers; unknown quantities count as text."""
    quantity = QUANTITIES.get(quantity_of(key))
    return quantity is not None and quantity.is_number
