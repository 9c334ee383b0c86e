"""Each kind's usual severity and how far apart occurrences may be and still be one event.

Severities are the status categories of NAMUR NE 107. The joining time turns chatter
into one event with a count; 60 s is the usual off-delay for temperature in alarm
management practice (ISA-18.2; from memory), shorter where bursts tell something.
"""

from dataclasses import dataclass

from shared.words import Kind, Severity


@dataclass(frozen=True, slots=True)
class KindRule:
    severity: Severity
    join_s: float


_FAIL = Severity.FAILURE
_CHECK = Severity.CHECK_FUNCTION
_SPEC = Severity.OUT_OF_SPECIFICATION
_MAINTAIN = Severity.MAINTENANCE_REQUIRED
_NOTICE = Severity.NOTICE

RULES = {
    Kind.STARTUP_TRANSIENT: KindRule(_NOTICE, 60.0),
    Kind.CODE_HIGH: KindRule(_FAIL, 60.0),
    Kind.CODE_LOW: KindRule(_FAIL, 60.0),
    Kind.CONVERTER_FLAG: KindRule(_FAIL, 60.0),
    Kind.CONTACT_BREAK: KindRule(_FAIL, 60.0),
    Kind.SPIKE: KindRule(_MAINTAIN, 60.0),
    Kind.BIT_FLIP: KindRule(_MAINTAIN, 60.0),
    Kind.STEP: KindRule(_SPEC, 10.0),
    Kind.NOISE_RISE: KindRule(_SPEC, 60.0),
    Kind.INTERFERENCE: KindRule(_SPEC, 600.0),
    Kind.MAINS_BEAT: KindRule(_SPEC, 300.0),
    Kind.FROZEN: KindRule(_FAIL, 60.0),
    Kind.STALE: KindRule(_CHECK, 30.0),
    Kind.LINK_LOSS: KindRule(_CHECK, 30.0),
    Kind.RESTART: KindRule(_NOTICE, 5.0),
    Kind.HALT: KindRule(_FAIL, 5.0),
    Kind.OFFSET_COLD: KindRule(_SPEC, 600.0),
    Kind.DRIFT: KindRule(_MAINTAIN, 600.0),
    Kind.NO_RISE: KindRule(_FAIL, 120.0),
    Kind.RISE_UNPOWERED: KindRule(_FAIL, 120.0),
    Kind.JOINT_JUMP: KindRule(_MAINTAIN, 60.0),
}
