"""The picture that the host sends, by path, and what our own words for it are."""

from typing import Any

from client.simulated.plant import HEATERS, SENSORS, Plant
from shared.updates import Value
from shared.words import NO_FLAGS, HostState

Flat = dict[str, Any]
"""Values of a picture by path: `nozzle.celsius`."""

CODED = ("nozzle", "bed")
"""Channels whose converter's code is sent along."""
STATES = {
    "coming-up": HostState.STARTING,
    "serving": HostState.UP,
    "tripped": HostState.HALTED,
}
_OURS = {
    "controller.awake_s": "controller.uptime_s",
    "where.x": "motion.x_mm",
    "where.y": "motion.y_mm",
    "where.z": "motion.z_mm",
    "where.speed": "motion.speed_mm_s",
    "fan.part": "fan.speed",
    "host.stands": "host.state",
    "host.because": "host.message",
}
_OURS |= {
    f"{channel}.{theirs}": f"{channel}.{ours}"
    for channel in (*SENSORS, "board")
    for theirs, ours in (
        ("celsius", "temperature_c"),
        ("wanted", "target_c"),
        ("duty", "power"),
        ("code", "code"),
        ("ohm", "resistance_ohm"),
        ("flags", "flags"),
    )
}
"""Our own `CHANNEL.QUANTITY` by path."""


def status_of(plant: Plant, is_booting: bool) -> Flat:
    """Whole picture, rounded as it is sent."""
    stands = "tripped" if plant.remark else "coming-up" if is_booting else "serving"
    flat: Flat = {"host.stands": stands, "host.because": plant.remark}
    if plant.boot_left_s <= 1e-9:
        flat["controller.awake_s"] = round(plant.alive_s, 2)
    for name, chain in plant.chains.items():
        if chain.has_read:
            flat[f"{name}.celsius"] = round(chain.celsius, 2)
        if name in HEATERS:
            regulator = plant.regulators[name]
            flat[f"{name}.wanted"] = regulator.goal_c
            flat[f"{name}.duty"] = round(regulator.power, 3)
        if name in CODED and chain.has_read:
            flat[f"{name}.code"] = chain.code
            flat[f"{name}.ohm"] = round(chain.ohms, 3)
            flat[f"{name}.flags"] = list(chain.flags)
    flat["board.celsius"] = round(plant.board_c, 1)
    for axis, value in zip("xyz", plant.carriage.xyz, strict=True):
        flat[f"where.{axis}"] = round(value, 2)
    flat["where.speed"] = round(plant.carriage.rate_mm_s, 1)
    flat["fan.part"] = plant.fan
    return flat


def values_of(flat: Flat) -> dict[str, Value]:
    """The same by our own keys."""
    return {_OURS[path]: _value_of(path, value) for path, value in flat.items()}


def _value_of(path: str, value: Any) -> Value:
    if path == "host.stands":
        return STATES[value].value
    if type(value) is list:
        return ";".join(value) or NO_FLAGS
    return value if type(value) is str else float(value)
