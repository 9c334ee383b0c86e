"""Tolerance classes of industrial platinum thermometers, IEC 60751:2022, table 2."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ToleranceClass:
    """A class: ±(fixed_c + per_degree·|t|) °C within the range of its construction."""

    name: str
    fixed_c: float
    per_degree: float
    film_c: tuple[float, float]
    wire_wound_c: tuple[float, float]

    def limit_c(self, temperature_c: float) -> float:
        """Largest deviation allowed at this temperature, ± °C."""
        return self.fixed_c + self.per_degree * abs(temperature_c)

    def range_c(self, construction: str) -> tuple[float, float]:
        """Temperatures for which the class holds: `film` or `wire-wound`."""
        return self.film_c if construction == "film" else self.wire_wound_c


TOLERANCES = {
    each.name: each
    for each in (
        ToleranceClass("AA", 0.1, 0.0017, (0.0, 150.0), (-50.0, 250.0)),
        ToleranceClass("A", 0.15, 0.002, (-30.0, 300.0), (-100.0, 450.0)),
        ToleranceClass("B", 0.3, 0.005, (-50.0, 500.0), (-196.0, 600.0)),
        ToleranceClass("C", 0.6, 0.01, (-50.0, 600.0), (-196.0, 600.0)),
    )
}
