"""Thermistors, and the divider that measures them.

Beta equation: R = R25 · exp(β (1/T − 1/T25)). Steinhart–Hart: 1/T = a + b ln R + c (ln R)³.
T in kelvin here, °C outside.
"""

import math
from dataclasses import dataclass

ZERO_C_IN_K = 273.15


@dataclass(frozen=True, slots=True)
class Beta:
    """A thermistor by its resistance at one temperature and its β, K."""

    r_ohm: float
    beta_k: float
    at_c: float = 25.0

    def ohms(self, temperature_c: float) -> float:
        """Resistance in Ω at a temperature above −273.15 °C."""
        inverse = 1.0 / (temperature_c + ZERO_C_IN_K) - 1.0 / (self.at_c + ZERO_C_IN_K)
        return self.r_ohm * math.exp(self.beta_k * inverse)

    def celsius(self, resistance_ohm: float) -> float:
        """Temperature in °C; NaN for a resistance that is not above 0, or for infinite ones."""
        if not 0.0 < resistance_ohm < math.inf:
            return math.nan
        inverse = 1.0 / (self.at_c + ZERO_C_IN_K)
        inverse += math.log(resistance_ohm / self.r_ohm) / self.beta_k
        return 1.0 / inverse - ZERO_C_IN_K if inverse > 0.0 else math.nan


@dataclass(frozen=True, slots=True)
class SteinhartHart:
    """A thermistor by three coefficients, 1/K; c > 0."""

    a: float
    b: float
    c: float

    @classmethod
    def through(cls, points: tuple[tuple[float, float], ...]) -> "SteinhartHart":
        """The curve through three pairs of (Ω, °C), all different."""
        (l1, y1), (l2, y2), (l3, y3) = (
            (math.log(ohm), 1.0 / (celsius + ZERO_C_IN_K)) for ohm, celsius in points
        )
        g2, g3 = (y2 - y1) / (l2 - l1), (y3 - y1) / (l3 - l1)
        c = (g3 - g2) / (l3 - l2) / (l1 + l2 + l3)
        b = g2 - c * (l1 * l1 + l1 * l2 + l2 * l2)
        return cls(y1 - (b + c * l1 * l1) * l1, b, c)

    def celsius(self, resistance_ohm: float) -> float:
        """Temperature in °C; NaN for a resistance that is not above 0, or for infinite ones."""
        if not 0.0 < resistance_ohm < math.inf:
            return math.nan
        log = math.log(resistance_ohm)
        inverse = self.a + log * (self.b + self.c * log * log)
        return 1.0 / inverse - ZERO_C_IN_K if inverse > 0.0 else math.nan

    def ohms(self, temperature_c: float) -> float:
        """Resistance in Ω: the one real root of the cubic in ln R."""
        half = (self.a - 1.0 / (temperature_c + ZERO_C_IN_K)) / (2.0 * self.c)
        root = math.sqrt((self.b / (3.0 * self.c)) ** 3 + half * half)
        return math.exp(math.cbrt(root - half) - math.cbrt(root + half))


@dataclass(frozen=True, slots=True)
class Divider:
    """A thermistor to ground under a pull-up, read as a part of the same supply."""

    pull_up_ohm: float
    bits: int = 12

    def code(self, resistance_ohm: float) -> float:
        """Code, not rounded; an open input reads full scale."""
        if math.isinf(resistance_ohm):
            return float(1 << self.bits)
        return (1 << self.bits) * resistance_ohm / (resistance_ohm + self.pull_up_ohm)

    def ohms(self, code: float) -> float:
        """Resistance in Ω of a code; inf at full scale."""
        full = float(1 << self.bits)
        return self.pull_up_ohm * code / (full - code) if code < full else math.inf

    def step_c(self, temperature_c: float, thermistor: Beta | SteinhartHart) -> float:
        """What one code is worth at a temperature, K."""
        code = self.code(thermistor.ohms(temperature_c))
        colder = thermistor.celsius(self.ohms(code + 0.5))
        return thermistor.celsius(self.ohms(code - 0.5)) - colder
