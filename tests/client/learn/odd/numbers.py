"""Hosts whose numbers are strange: units, scales, texts, what is off, several of a kind."""

import random
from datetime import UTC, datetime
from typing import Any

from tests.client.learn.odd.host import Changes, OddHost
from tests.client.learn.odd.machine import Machine

NOZZLE = ("nozzle.temperature_c", "nozzle.target_c", "nozzle.power")
BOTH = (*NOZZLE, "bed.temperature_c", "bed.target_c", "bed.power")
XY = ("motion.x_mm", "motion.y_mm", "motion.z_mm")
MOTION = {
    "motion.x_mm": lambda m: round(m.x, 2),
    "motion.y_mm": lambda m: round(m.y, 2),
    "motion.z_mm": lambda m: m.z,
}


def notify(method: str, params: Any) -> dict[str, Any]:
    return {"jsonrpc": "2.0", "method": method, "params": params}


def positional_byte() -> OddHost:
    """Changes in positional params, power of 0 to 255, milliseconds since the host began."""
    changes = Changes()

    def say(m: Machine) -> list[Any]:
        heads = {
            name: {"now": round(h.shown, 1), "aim": h.goal, "drive": round(h.power * 255)}
            for name, h in (("front head", m.nozzle), ("slab", m.bed))
        }
        return [notify("moved on", [changes.of(heads, m), round(m.up_s * 1000)])]

    return OddHost("positional byte", say, NOZZLE, clock="ms")


def tenths() -> OddHost:
    """Whole tenths of a degree, in a list by name; a date and time as text."""

    def say(m: Machine) -> list[Any]:
        probes = [
            {"sensor": label, "tenths": round(h.shown * 10), "want": round(h.goal * 10)}
            for label, h in (("Nozzle 1", m.nozzle), ("Bed middle", m.bed), ("Air", m.chamber))
        ]
        when = datetime.fromtimestamp(m.wall_s, UTC).isoformat().replace("+00:00", "Z")
        return [{"stamp": when, "probes": probes}]

    must = ("nozzle.temperature_c", "nozzle.target_c", "bed.temperature_c", "chamber.temperature_c")
    return OddHost("tenths", say, must, clock="iso")


def hundredths() -> OddHost:
    """Whole hundredths of a degree and of a percent."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "hotend": {"temp": round(m.nozzle.shown * 100), "set": round(m.nozzle.goal * 100)},
                "bed": {"temp": round(m.bed.shown * 100), "set": round(m.bed.goal * 100)},
                "ts": m.wall_s,
            }
        ]

    must = ("nozzle.temperature_c", "nozzle.target_c", "bed.temperature_c", "bed.target_c")
    return OddHost("hundredths", say, must, clock="s")


def thousandths() -> OddHost:
    """Millidegrees by quantity, channels last."""

    def say(m: Machine) -> list[Any]:
        pairs = (("nozzle", m.nozzle), ("bed", m.bed))
        return [
            {
                "t_mC": {name: round(h.shown * 1000) for name, h in pairs},
                "goal_mC": {name: round(h.goal * 1000) for name, h in pairs},
                "permille": {name: round(h.power * 1000) for name, h in pairs},
            }
        ]

    return OddHost("thousandths", say, BOTH)


def texts_with_units() -> OddHost:
    """Every number a text with its unit; a target that is off is the word 'off'."""

    def say(m: Machine) -> list[Any]:
        goal = f"{m.nozzle.goal:.0f} °C" if m.nozzle.goal else "off"
        return [
            {
                "Hot End": {
                    "Reading": f"{m.nozzle.shown:.1f} °C",
                    "Setpoint": goal,
                    "Duty": f"{m.nozzle.power * 100:.0f} %",
                },
                "Time": f"{m.up_s:.2f} s",
            }
        ]

    return OddHost("texts with units", say, NOZZLE)


def nulls_when_off() -> OddHost:
    """Targets and powers are null while off."""
    changes = Changes()

    def say(m: Machine) -> list[Any]:
        def one(h: Any) -> dict[str, Any]:
            on = h.goal > 0.0
            return {
                "actual": round(h.shown, 2),
                "setpoint": h.goal if on else None,
                "output": round(h.power, 3) if on else None,
            }

        status = {"extruder": one(m.nozzle), "platform": one(m.bed), "enclosure": one(m.chamber)}
        return [notify("changed", {"clock": m.up_s, "what": changes.of(status, m)})]

    return OddHost("nulls when off", say, (*BOTH, "chamber.temperature_c"), clock="s")


def kelvin_unnamed() -> OddHost:
    """Kelvin, and nothing says so; names that mean nothing."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "qua": {
                    "zib": round(m.nozzle.shown + 273.15, 2),
                    "nor": m.nozzle.goal + 273.15 if m.nozzle.goal else 0,
                    "fi": round(m.nozzle.power, 3),
                },
                "lom": {
                    "zib": round(m.bed.shown + 273.15, 2),
                    "nor": m.bed.goal + 273.15,
                    "fi": round(m.bed.power, 3),
                },
                "pex": {"zib": round(m.chamber.shown + 273.15, 2)},
            }
        ]

    must = ("nozzle.temperature_c", "nozzle.power", "lom.temperature_c", "pex.temperature_c")
    truths = {
        "lom.temperature_c": lambda m: m.bed.shown,
        "pex.temperature_c": lambda m: m.chamber.shown,
    }
    return OddHost("kelvin unnamed", say, must, truths)


def fahrenheit_said() -> OddHost:
    """Fahrenheit, said in a text beside the readings."""

    def say(m: Machine) -> list[Any]:
        def f(c: float) -> float:
            return round(c * 1.8 + 32.0, 1)

        return [
            {
                "unit": "°F",
                "temperatures": {"nozzle": f(m.nozzle.shown), "bed": f(m.bed.shown)},
                "targets": {"nozzle": f(m.nozzle.goal), "bed": f(m.bed.goal)},
            }
        ]

    must = ("nozzle.temperature_c", "nozzle.target_c", "bed.temperature_c", "bed.target_c")
    return OddHost("fahrenheit said", say, must)


def watts_beside_duty() -> OddHost:
    """Watts stand beside the duty; limits and coefficients stand around."""
    chance = random.Random(8)
    gains = {name: round(chance.uniform(0.5, 90.0), 2) for name in ("kp", "ki", "kd")}

    def say(m: Machine) -> list[Any]:
        return [
            {
                "heaters": [
                    {
                        "id": 0,
                        "name": "nozzle",
                        "temperature": round(m.nozzle.shown, 2),
                        "target": m.nozzle.goal,
                        "watts": round(m.nozzle.power * 40.0, 1),
                        "duty": round(m.nozzle.power * 100.0, 1),
                        "max_temperature": 300.0,
                        **gains,
                    },
                    {
                        "id": 1,
                        "name": "bed",
                        "temperature": round(m.bed.shown, 2),
                        "target": m.bed.goal,
                        "watts": round(m.bed.power * 200.0, 1),
                        "duty": round(m.bed.power * 100.0, 1),
                        "max_temperature": 120.0,
                        **gains,
                    },
                ],
                "uptime": round(m.up_s, 2),
            }
        ]

    truths = {"controller.uptime_s": lambda m: round(m.up_s, 2)}
    return OddHost("watts beside duty", say, (*BOTH, "controller.uptime_s"), truths, clock="s")


def watts_alone() -> OddHost:
    """Watts where others have a fraction: no power can be learnt, and none may be made up."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "nozzle": {
                    "temp": round(m.nozzle.shown, 2),
                    "target": m.nozzle.goal,
                    "heater watts": round(m.nozzle.power * 40.0, 1),
                }
            }
        ]

    must = ("nozzle.temperature_c", "nozzle.target_c", "nozzle.power")
    return OddHost("watts alone", say, must, {"nozzle.power": lambda m: None})


def codes_and_ohms() -> OddHost:
    """Codes, resistances and flags as a list, besides degrees."""
    changes = Changes()

    def say(m: Machine) -> list[Any]:
        status = {
            "sensing": {
                "hotend": {
                    "degrees": round(m.nozzle.shown, 2),
                    "ohms": round(m.ohm, 3),
                    "counts": m.code,
                    "faults": ["input-out-of-range"] if 40 < m.n < 44 else [],
                    "wanted": m.nozzle.goal,
                }
            },
            "awake_ms": round(m.up_s * 1000),
        }
        return [notify("it is so", [m.up_s, changes.of(status, m)])]

    must = (
        "nozzle.temperature_c",
        "nozzle.target_c",
        "nozzle.resistance_ohm",
        "nozzle.code",
        "nozzle.flags",
        "controller.uptime_s",
    )
    truths = {
        "nozzle.resistance_ohm": lambda m: round(m.ohm, 3),
        "nozzle.code": lambda m: m.code,
        "nozzle.flags": lambda m: "input-out-of-range" if 40 < m.n < 44 else "none",
        "controller.uptime_s": lambda m: m.up_s,
    }
    return OddHost("codes and ohms", say, must, truths, clock="s")


def flags_as_bits() -> OddHost:
    """Fault flags are bits of a number, mostly 0."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "nozzle": {
                    "temperature": round(m.nozzle.shown, 2),
                    "setpoint": m.nozzle.goal,
                    "faults": 64 if 40 < m.n < 44 else 0,
                }
            }
        ]

    must = ("nozzle.temperature_c", "nozzle.target_c", "nozzle.flags")
    truths = {"nozzle.flags": lambda m: "bit 6" if 40 < m.n < 44 else "none"}
    return OddHost("flags as bits", say, must, truths)


def flags_as_bools() -> OddHost:
    """An object of true and false."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "nozzle": {
                    "temperature": round(m.nozzle.shown, 2),
                    "setpoint": m.nozzle.goal,
                    "alarms": {"open": 40 < m.n < 44, "short": False},
                }
            }
        ]

    must = ("nozzle.temperature_c", "nozzle.target_c", "nozzle.flags")
    truths = {"nozzle.flags": lambda m: "open" if 40 < m.n < 44 else "none"}
    return OddHost("flags as bools", say, must, truths)


def flags_as_text() -> OddHost:
    """One text, empty when all is well."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "nozzle": {
                    "temperature": round(m.nozzle.shown, 2),
                    "setpoint": m.nozzle.goal,
                    "error": "open, short" if 40 < m.n < 44 else "",
                }
            }
        ]

    must = ("nozzle.temperature_c", "nozzle.target_c", "nozzle.flags")
    truths = {"nozzle.flags": lambda m: "open;short" if 40 < m.n < 44 else "none"}
    return OddHost("flags as text", say, must, truths)


def cold_and_idle() -> OddHost:
    """Nothing heats, nothing moves; plain names."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "now": m.wall_s,
                "tool": {"temp": round(m.nozzle.shown, 2), "target": 0.0, "power": 0.0},
                "bed": {"temp": round(m.bed.shown, 2), "target": 0.0, "power": 0.0},
                "pos": {"x": 0.0, "y": 0.0, "z": 0.0, "w": 0.0},
            }
        ]

    return OddHost("cold and idle", say, BOTH, life="cold", clock="s")


def bang_bang() -> OddHost:
    """A heater that is on or off."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "nozzle": {
                    "temp": round(m.nozzle.shown, 2),
                    "target": m.nozzle.goal,
                    "heating": m.nozzle.shown < m.nozzle.goal,
                }
            }
        ]

    truths = {"nozzle.power": lambda m: float(m.nozzle.shown < m.nozzle.goal)}
    return OddHost("bang-bang", say, NOZZLE, truths, life="holding")


HOSTS = (
    positional_byte,
    tenths,
    hundredths,
    thousandths,
    texts_with_units,
    nulls_when_off,
    kelvin_unnamed,
    fahrenheit_said,
    watts_beside_duty,
    watts_alone,
    codes_and_ohms,
    flags_as_bits,
    flags_as_bools,
    flags_as_text,
    cold_and_idle,
    bang_bang,
)
