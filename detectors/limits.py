"""Each kind's usual severity, and how far apart occurrences may be and still be one event.

Severities are the status categories of NAMUR NE 107. The joining time is the delay of an
event's return: it turns chatter into one event with a count. 60 s is the usual off-delay for
temperature in alarm management practice (ISA-18.2; from memory); where a kind differs from
that, `why` says so. Delays before an event is raised, and deadbands, belong to the detectors:
`detectors.kindbook` tells them of each kind.

A reading that goes low is a failure whatever its kind (`READS_LOW`): a loop that follows it
heats too far. NE 107's maintenance-required says that the signal is still valid.
"""

from dataclasses import dataclass

from shared.words import Kind, Severity


@dataclass(frozen=True, slots=True)
class KindRule:
    severity: Severity
    join_s: float
    why: str
    """Why occurrences so far apart are one event."""


_FAIL = Severity.FAILURE
_CHECK = Severity.CHECK_FUNCTION
_SPEC = Severity.OUT_OF_SPECIFICATION
_MAINTAIN = Severity.MAINTENANCE_REQUIRED
_NOTICE = Severity.NOTICE

_USUAL = "the usual off-delay for temperature (ISA-18.2; from memory)"
_PRINT = "the same place of a print, and the same contact, come again within a minute"
_WINDOWS = "a few windows of 32 rows, so that a lull is no return"
_SLOW = "found over minutes, so it cannot have ended within them"

READS_LOW = Severity.FAILURE

RULES = {
    Kind.STARTUP_TRANSIENT: KindRule(_NOTICE, 60.0, "one start: controllers start twice at times"),
    Kind.CODE_HIGH: KindRule(_FAIL, 60.0, _PRINT),
    Kind.CODE_LOW: KindRule(_FAIL, 60.0, _PRINT),
    Kind.CONVERTER_FLAG: KindRule(_FAIL, 60.0, _PRINT),
    Kind.CONTACT_BREAK: KindRule(_FAIL, 60.0, _PRINT),
    Kind.SPIKE: KindRule(_MAINTAIN, 60.0, _USUAL),
    Kind.BIT_FLIP: KindRule(_MAINTAIN, 60.0, _USUAL),
    Kind.STEP: KindRule(_SPEC, 10.0, "a lasting jump: a second one later is another fact"),
    Kind.NOISE_RISE: KindRule(_SPEC, 60.0, _WINDOWS),
    Kind.INTERFERENCE: KindRule(_SPEC, 600.0, "as long as it looks back for faults"),
    Kind.MAINS_BEAT: KindRule(_SPEC, 300.0, "a tone that drifts through one that sampling hides"),
    Kind.FROZEN: KindRule(_FAIL, 60.0, _USUAL),
    Kind.STALE: KindRule(_CHECK, 30.0, "a busy host stalls again and again; more is another one"),
    Kind.LINK_LOSS: KindRule(_CHECK, 30.0, "the longest wait between two tries to connect"),
    Kind.RESTART: KindRule(_NOTICE, 5.0, "host and controller say so one after the other"),
    Kind.HALT: KindRule(_FAIL, 5.0, "each stop of the machine is a fact of its own"),
    Kind.UNKNOWN_STATE: KindRule(_CHECK, 5.0, "each word is a question of its own"),
    Kind.HOST_CLOCK: KindRule(_MAINTAIN, 60.0, "a clock that is set in steps is set once"),
    Kind.UNREADABLE: KindRule(_CHECK, 60.0, _USUAL),
    Kind.OFFSET_COLD: KindRule(_SPEC, 600.0, _SLOW),
    Kind.DRIFT: KindRule(_MAINTAIN, 600.0, _SLOW),
    Kind.NO_RISE: KindRule(_FAIL, 120.0, "a host that tries to heat again after it gave up"),
    Kind.RISE_UNPOWERED: KindRule(_FAIL, 120.0, "a heater is slow: a dip of the rise is no return"),
    Kind.JOINT_JUMP: KindRule(_MAINTAIN, 60.0, _USUAL),
}
