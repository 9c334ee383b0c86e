"""Glyphs and words that go with every colour, in Unicode and in ASCII."""

from dataclasses import dataclass

from shared.health import Trust
from shared.words import Severity
from tui.board import Ink

SEVERITY_LETTER = {
    Severity.FAILURE: "F",
    Severity.CHECK_FUNCTION: "C",
    Severity.OUT_OF_SPECIFICATION: "S",
    Severity.MAINTENANCE_REQUIRED: "M",
    Severity.NOTICE: "i",
}
"""The letters of NAMUR NE 107's status signals (from memory), and ours for a notice."""

SEVERITY_INK = {
    Severity.FAILURE: Ink.ALARM,
    Severity.CHECK_FUNCTION: Ink.DOUBTFUL,
    Severity.OUT_OF_SPECIFICATION: Ink.DOUBTFUL,
    Severity.MAINTENANCE_REQUIRED: Ink.TARGET,
    Severity.NOTICE: Ink.DIM,
}

TRUST_INK = {
    Trust.TRUE: Ink.TRUE,
    Trust.SHELVED: Ink.DIM,
    Trust.DOUBTFUL: Ink.DOUBTFUL,
    Trust.FALSE: Ink.FALSE,
    Trust.UNKNOWN: Ink.UNKNOWN,
}


@dataclass(frozen=True, slots=True)
class Glyphs:
    """One set of glyphs; each is one cell wide."""

    true: str
    shelved: str
    doubtful: str
    false: str
    unknown: str
    above: str
    below: str
    focus: str
    cursor: str
    lasting: str
    note: str
    times: str
    reading: str
    target: str

    def trust(self, trust: Trust) -> str:
        return {
            Trust.TRUE: self.true,
            Trust.SHELVED: self.shelved,
            Trust.DOUBTFUL: self.doubtful,
            Trust.FALSE: self.false,
            Trust.UNKNOWN: self.unknown,
        }[trust]


UNICODE = Glyphs(
    true="─",
    shelved="░",
    doubtful="▒",
    false="█",
    unknown="?",
    above="▲",
    below="▼",
    focus="›",
    cursor="│",
    lasting="╌",
    note="*",
    times="×",
    reading="━",
    target="┄",
)
ASCII = Glyphs(
    true="-",
    shelved=":",
    doubtful="~",
    false="#",
    unknown="?",
    above="^",
    below="v",
    focus=">",
    cursor="|",
    lasting="=",
    note="*",
    times="x",
    reading="-",
    target=".",
)
