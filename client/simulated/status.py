"""The status that the host sends, by path, and what our own words for it are."""

from typing import Any

from client.simulated.plant import HEATERS, Plant
from shared.updates import Value
from shared.words import NO_FLAGS, HostState

Path = tuple[str, ...]
Flat = dict[Path, Any]
"""Values of a status by path: `("thermals", "nozzle", "reading_c")`."""

CODED = ("nozzle", "bed")
"""Channels whose converter's code is sent along."""
PHASES = {"booting": HostState.STARTING, "ready": HostState.UP, "stopped": HostState.HALTED}
_QUANTITIES = {
    "reading_c": "temperature_c",
    "goal_c": "target_c",
    "drive": "power",
    "raw": "code",
    "ohms": "resistance_ohm",
}


def status_of(plant: Plant, is_booting: bool) -> Flat:
    """Whole status, rounded as it is sent."""
    flat: Flat = {}
    phase = "stopped" if plant.remark else "booting" if is_booting else "ready"
    flat["machine", "phase"] = phase
    flat["machine", "remark"] = plant.remark
    if plant.boot_left_s <= 1e-9:
        flat["controller", "alive_s"] = round(plant.alive_s, 2)
    for name, chain in plant.chains.items():
        if chain.has_read:
            flat["thermals", name, "reading_c"] = round(chain.celsius, 2)
        if name in HEATERS:
            regulator = plant.regulators[name]
            flat["thermals", name, "goal_c"] = regulator.goal_c
            flat["thermals", name, "drive"] = round(regulator.power, 3)
        if name in CODED and chain.has_read:
            flat["thermals", name, "raw"] = chain.code
            flat["thermals", name, "ohms"] = round(chain.ohms, 3)
            flat["thermals", name, "alerts"] = list(chain.flags)
    flat["thermals", "board", "reading_c"] = round(plant.board_c, 1)
    flat["carriage", "position"] = [round(value, 2) for value in plant.carriage.xyz]
    flat["carriage", "rate_mm_s"] = round(plant.carriage.rate_mm_s, 1)
    flat["fans", "part"] = plant.fan
    return flat


def nested(flat: Flat) -> dict[str, Any]:
    """The same as nested objects."""
    whole: dict[str, Any] = {}
    for path, value in flat.items():
        inner = whole
        for step in path[:-1]:
            inner = inner.setdefault(step, {})
        inner[path[-1]] = value
    return whole


def values_of(flat: Flat) -> dict[str, Value]:
    """The same by our own `CHANNEL.QUANTITY` keys."""
    values: dict[str, Value] = {}
    for path, value in flat.items():
        last = path[-1]
        if path[0] == "thermals":
            if last == "alerts":
                values[f"{path[1]}.flags"] = ";".join(value) or NO_FLAGS
            else:
                values[f"{path[1]}.{_QUANTITIES[last]}"] = float(value)
        elif last == "position":
            for axis, number in zip("xyz", value, strict=True):
                values[f"motion.{axis}_mm"] = float(number)
        elif last == "phase":
            values["host.state"] = PHASES[value].value
        elif last == "remark":
            values["host.message"] = value
        else:
            values[_SINGLES[path]] = float(value)
    return values


_SINGLES: dict[Path, str] = {
    ("controller", "alive_s"): "controller.uptime_s",
    ("carriage", "rate_mm_s"): "motion.speed_mm_s",
    ("fans", "part"): "fan.speed",
}
