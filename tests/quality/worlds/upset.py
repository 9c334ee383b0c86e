"""What a fault changes: heat and ohms inside the loop, rows and words outside it."""

from dataclasses import dataclass, field

from shared.updates import Floats


@dataclass(frozen=True, slots=True)
class Glitch:
    """One reported reading that was spoilt on its way: Ω added, or bits of the code flipped."""

    channel: str
    at_s: float
    ohm: float = 0.0
    bits: int = 0


@dataclass(slots=True)
class Upset:
    """Nothing, until a fault fills it. Columns are on the grid of steps.

    ohm    added to what a chain sees, Ω; ±inf: open or short
    hold   1 while a converter gives its last code again
    slip   part of a sensor that has left its seat, 0–1
    gain   part of its power that a heater gets
    stuck  share of power that a heater gets whatever is asked
    """

    ohm: dict[str, Floats] = field(default_factory=dict)
    hold: dict[str, Floats] = field(default_factory=dict)
    slip: dict[str, Floats] = field(default_factory=dict)
    gain: dict[str, Floats] = field(default_factory=dict)
    stuck: dict[str, Floats] = field(default_factory=dict)
    glitches: list[Glitch] = field(default_factory=list)
    stands: list[tuple[str, float, float]] = field(default_factory=list)
    """Channel and times from and to which a host hands on one reading again and again."""
    gaps: list[tuple[float, float]] = field(default_factory=list)
    """Times from and to which no update comes, s."""
    flags: list[tuple[str, float, float, str]] = field(default_factory=list)
    states: list[tuple[float, str]] = field(default_factory=list)
    restarts: list[float] = field(default_factory=list)
    leaps: list[tuple[float, float]] = field(default_factory=list)
    """When the host's clock leaps, and by how much, s."""
