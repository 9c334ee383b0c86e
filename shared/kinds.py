"""One row for each kind of event: all that anybody but its own detector has to know of it.

Severities are the status categories of NAMUR NE 107. The joining time is the delay of an
event's return: it turns chatter into one event with a count. 60 s is the usual off-delay for
temperature in alarm management practice (ISA-18.2; from memory); a row says why it differs.
Delays before an event is raised, and deadbands, are the detectors'; docs/events.md tells them.

The table stands in `shared`, since bursts and reports, which know no detector, ask it too.
"""

from dataclasses import dataclass
from enum import Enum

from shared.chainstate import Stage
from shared.words import Kind, Severity


class Shape(Enum):
    """What a kind looks like in the log."""

    JUMP = "a jump no heat makes"
    FLIP = "a jump that is one flipped bit of the code"
    JOINT = "a jump of several channels at one instant"
    END = "a reading at an end of its range"
    FLAG = "the converter's own word"
    NOISE = "noise, or a tone"
    STILL = "a reading that does not move"
    HEAT = "degrees that fit neither power nor other channels"
    START = "what a start explains"
    HOST = "what host and link say, or leave out"


class Tells(Enum):
    """What an event says of the number on the screen."""

    AGAINST = "the number may be false"
    NOTHING = "the number may be right"
    HIDES = "whether the number is of now, and of a machine that runs, is open"


@dataclass(frozen=True, slots=True)
class KindSpec:
    """One kind."""

    shape: Shape
    severity: Severity
    """The usual one; a reading that goes low is `READS_LOW` whatever its kind."""
    join_s: float
    """How far apart occurrences may be and still be one event."""
    why_joined: str
    """Why occurrences so far apart are one event."""
    shows_at: Stage | None = None
    """Where in the chain it shows. Several causes fit most; the diagnosis weighs them."""
    tells: Tells = Tells.AGAINST
    asks_from: Severity | None = Severity.MAINTENANCE_REQUIRED
    """Severity from which on it asks for a cause; None: no cause could be weighed for it."""
    counts_in_trials: bool = True
    """False: harmless, or made of other faults, which count by themselves."""
    has_onset: bool = True
    """False: found over many readings, so when it began is too rough for an order."""
    comes_back: bool = False
    """Whether the reading is where it was within a moment."""
    opens: bool = False
    """Whether the element's circuit is open, for a moment or for long."""
    may_read_low: bool = False
    """Whether its detector says of a reading that it went low."""
    may_settle: bool = False
    """Whether a start of controller or host may show it, to settle by itself."""
    may_be_stillness: bool = False
    """Whether a reading that stands still looks like it."""
    words_grow: bool = False
    """Whether more is said of it while it lasts."""

    @property
    def is_of_rows(self) -> bool:
        """Whether single readings of one channel show it, so that it can be counted and tied."""
        return self.shape in (Shape.JUMP, Shape.FLIP, Shape.END, Shape.FLAG)

    @property
    def is_electrical(self) -> bool:
        """Whether its time and place tell something about the wiring."""
        return self.is_of_rows or self.shape is Shape.NOISE


READS_LOW = Severity.FAILURE
"""A loop that follows a reading below the truth heats too far. NE 107's maintenance-required
says that the signal is still valid."""

_FAIL = Severity.FAILURE
_CHECK = Severity.CHECK_FUNCTION
_SPEC = Severity.OUT_OF_SPECIFICATION
_MAINTAIN = Severity.MAINTENANCE_REQUIRED
_NOTICE = Severity.NOTICE

_USUAL = "the usual off-delay for temperature (ISA-18.2; from memory)"
_PRINT = "the same place of a print, and the same contact, come again within a minute"
_WINDOWS = "a few windows of 32 rows, so that a lull is no return"
_SLOW = "found over minutes, so it cannot have ended within them"

KINDS = {
    Kind.STARTUP_TRANSIENT: KindSpec(
        Shape.START, _NOTICE, 60.0, "one start: controllers start twice at times",
        asks_from=_NOTICE, counts_in_trials=False,
    ),
    Kind.CONTACT_BREAK: KindSpec(
        Shape.JUMP, _FAIL, 60.0, _PRINT, Stage.LEADS,
        comes_back=True, opens=True, may_settle=True,
    ),
    Kind.CODE_HIGH: KindSpec(
        Shape.END, _FAIL, 60.0, _PRINT, Stage.LEADS, opens=True, may_settle=True,
    ),
    Kind.CODE_LOW: KindSpec(Shape.END, _FAIL, 60.0, _PRINT, Stage.LEADS, may_settle=True),
    Kind.CONVERTER_FLAG: KindSpec(Shape.FLAG, _FAIL, 60.0, _PRINT, may_settle=True),
    Kind.BIT_FLIP: KindSpec(
        Shape.FLIP, _MAINTAIN, 60.0, _USUAL, Stage.BUS, comes_back=True, may_settle=True,
    ),
    Kind.SPIKE: KindSpec(
        Shape.JUMP, _MAINTAIN, 60.0, _USUAL, Stage.FILTER,
        comes_back=True, may_read_low=True, may_settle=True,
    ),
    Kind.STEP: KindSpec(
        Shape.JUMP, _SPEC, 10.0, "a lasting jump: a second one later is another fact", Stage.LEADS,
        may_read_low=True, may_settle=True,
    ),
    Kind.NOISE_RISE: KindSpec(
        Shape.NOISE, _SPEC, 60.0, _WINDOWS, Stage.FILTER, has_onset=False, may_settle=True,
    ),
    Kind.INTERFERENCE: KindSpec(
        Shape.NOISE, _SPEC, 600.0, "as long as it looks back for faults", Stage.FILTER,
        counts_in_trials=False, has_onset=False, may_settle=True,
    ),
    Kind.MAINS_BEAT: KindSpec(
        Shape.NOISE, _SPEC, 300.0, "a tone that drifts through one that sampling hides",
        Stage.FILTER, Tells.NOTHING, has_onset=False,
    ),
    Kind.FROZEN: KindSpec(Shape.STILL, _FAIL, 60.0, _USUAL, Stage.BUS, may_settle=True),
    Kind.STALE: KindSpec(
        Shape.HOST, _CHECK, 30.0, "a busy host stalls again and again; more is another one",
        Stage.HOST, Tells.HIDES,
    ),
    Kind.LINK_LOSS: KindSpec(
        Shape.HOST, _CHECK, 30.0, "the longest wait between two tries to connect",
        Stage.HOST, Tells.HIDES, words_grow=True,
    ),
    Kind.RESTART: KindSpec(
        Shape.HOST, _NOTICE, 5.0, "host and controller say so one after the other",
        Stage.CONTROLLER, Tells.NOTHING, counts_in_trials=False,
    ),
    Kind.HALT: KindSpec(
        Shape.HOST, _FAIL, 5.0, "each stop of the machine is a fact of its own",
        tells=Tells.NOTHING,
    ),
    Kind.UNKNOWN_STATE: KindSpec(
        Shape.HOST, _CHECK, 5.0, "each word is a question of its own",
        tells=Tells.HIDES, asks_from=None, words_grow=True,
    ),
    Kind.HOST_CLOCK: KindSpec(
        Shape.HOST, _MAINTAIN, 60.0, "a clock that is set in steps is set once",
        tells=Tells.NOTHING, asks_from=None,
    ),
    Kind.UNREADABLE: KindSpec(
        Shape.HOST, _CHECK, 60.0, _USUAL, tells=Tells.NOTHING, asks_from=None,
    ),
    Kind.OFFSET_COLD: KindSpec(
        Shape.HEAT, _SPEC, 600.0, _SLOW, has_onset=False, may_settle=True,
    ),
    Kind.DRIFT: KindSpec(
        Shape.HEAT, _MAINTAIN, 600.0, _SLOW, Stage.ELEMENT,
        has_onset=False, may_read_low=True, may_be_stillness=True,
    ),
    Kind.NO_RISE: KindSpec(
        Shape.HEAT, _FAIL, 120.0, "a host that tries to heat again after it gave up",
        tells=Tells.NOTHING, may_be_stillness=True,
    ),
    Kind.RISE_UNPOWERED: KindSpec(
        Shape.HEAT, _FAIL, 120.0, "a heater is slow: a dip of the rise is no return",
        may_settle=True,
    ),
    Kind.JOINT_JUMP: KindSpec(Shape.JOINT, _MAINTAIN, 60.0, _USUAL, Stage.CONTROLLER),
}  # fmt: skip
"""Every kind. Of kinds that saw one fault equally often, the one that stands first names it."""


def kinds_of(*shapes: Shape) -> list[Kind]:
    """Kinds of these shapes, in the order of the table."""
    return [kind for kind, spec in KINDS.items() if spec.shape in shapes]
