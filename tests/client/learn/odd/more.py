"""More strange hosts: drawn up after the learner, to see what it does with what it never met."""

from typing import Any

from tests.client.learn.odd.host import Changes, OddHost
from tests.client.learn.odd.machine import Heated, Machine
from tests.client.learn.odd.numbers import BOTH, NOZZLE, notify


def parallel_arrays() -> OddHost:
    """Names, readings, goals and powers in arrays beside each other."""

    def say(m: Machine) -> list[Any]:
        heated = (m.nozzle, m.bed)
        return [
            {
                "labels": ["nozzle", "bed"],
                "now": [round(h.shown, 2) for h in heated],
                "goal": [h.goal for h in heated],
                "pwm": [round(h.power * 255) for h in heated],
            }
        ]

    return OddHost("parallel arrays", say, BOTH)


def sensor_and_heater_apart() -> OddHost:
    """The sensor and the heater of a channel are objects of their own."""
    changes = Changes()

    def one(h: Heated) -> dict[str, Any]:
        return {
            "sensor": {"value": round(h.shown, 2), "ok": True},
            "heater": {"target": h.goal, "level": round(h.power, 3)},
        }

    def say(m: Machine) -> list[Any]:
        status = {"zones": {"head": one(m.nozzle), "table": one(m.bed)}}
        return [notify("z", [m.up_s, changes.of(status, m)])]

    return OddHost("sensor and heater apart", say, BOTH, clock="s")


def dotted_changes() -> OddHost:
    """Changes as an object of dotted paths, after the first."""
    changes = Changes()

    def say(m: Machine) -> list[Any]:
        flat = {}
        for name, h in (("head", m.nozzle), ("bed", m.bed)):
            flat[f"{name}.temp"] = round(h.shown, 2)
            flat[f"{name}.goal"] = h.goal
            flat[f"{name}.duty"] = round(h.power, 3)
        return [{"changed": changes.of(flat, m), "when": round(m.wall_s * 1e9)}]

    return OddHost("dotted changes", say, BOTH, clock="ns")


def values_with_units() -> OddHost:
    """Each value is an object that bears its unit."""

    def one(h: Heated) -> dict[str, Any]:
        return {
            "actual": {"value": round(h.shown + 273.15, 2), "unit": "K"},
            "setpoint": {"value": round(h.goal + 273.15, 2) if h.goal else 273.15, "unit": "K"},
            "output": {"value": round(h.power * 100, 1), "unit": "%"},
        }

    def say(m: Machine) -> list[Any]:
        return [{"hotend": one(m.nozzle), "bed": one(m.bed), "chamber": one(m.chamber)}]

    must = (*BOTH[:3], "bed.temperature_c", "bed.power", "chamber.temperature_c")
    truths = {"nozzle.target_c": lambda m: m.nozzle.goal}
    return OddHost("values with units", say, must, truths)


def tuples() -> OddHost:
    """[name, reading, target, power] each."""

    def say(m: Machine) -> list[Any]:
        rows = [
            [name, round(h.shown, 1), h.goal, round(h.power, 2)]
            for name, h in (("hot end", m.nozzle), ("bed", m.bed))
        ]
        return [notify("t", {"rows": rows, "clock": m.up_s})]

    return OddHost("tuples", say, BOTH, clock="s")


def state_numbers() -> OddHost:
    """States are numbers; the manual says what they mean."""

    def say(m: Machine) -> list[Any]:
        state = 3 if m.n < 60 else 7
        head = {"temp": round(m.nozzle.shown, 2), "target": m.nozzle.goal, "power": 0.0}
        return [{"head": {**head, "power": round(m.nozzle.power, 3)}, "state": state}]

    truths = {"host.state": lambda m: "up" if m.n < 60 else "halted"}
    return OddHost(
        "state numbers",
        say,
        (*NOZZLE, "host.state"),
        truths,
        options=("--word", "3=up", "--word", "7=halted"),
    )


def many_channels() -> OddHost:
    """Twelve probes, flat and numbered, without targets."""

    def say(m: Machine) -> list[Any]:
        probes = {
            f"probe{n}_temp": round(m.chamber.shown + 0.3 * n + m.chance.gauss(0, 0.05), 2)
            for n in range(12)
        }
        return [{**probes, "nozzle_temp": round(m.nozzle.shown, 2), "nozzle_target": m.nozzle.goal}]

    return OddHost("many channels", say, ("nozzle.temperature_c", "nozzle.target_c"))


def one_of_two_machines() -> OddHost:
    """Two machines in one list, by id."""

    def say(m: Machine) -> list[Any]:
        def temps(a: Heated, b: Heated) -> dict[str, Any]:
            return {
                name: {"t": round(h.shown, 2), "goal": h.goal, "drive": round(h.power, 3)}
                for name, h in (("nozzle", a), ("bed", b))
            }

        machines = [
            {"id": "attic", "temps": temps(m.nozzle, m.bed)},
            {"id": "cellar", "temps": temps(m.chamber, m.chamber)},
        ]
        return [{"machines": machines, "ts": m.wall_s}]

    names = ("attic nozzle", "attic bed")
    must = tuple(f"{n}.{q}" for n in names for q in ("temperature_c", "target_c", "power"))
    truths = {
        **{
            f"attic {h}.{q}": (lambda m, h=h, q=q: OddHost.truth(_PLAIN, f"{h}.{q}", m))
            for h in ("nozzle", "bed")
            for q in ("temperature_c", "target_c", "power")
        }
    }
    return OddHost("two machines", say, must, truths, clock="s")


_PLAIN = OddHost("plain", lambda m: [], ())


def text_fractions() -> OddHost:
    """Numbers as texts without units, and nothing but a role tells the channels apart."""

    def say(m: Machine) -> list[Any]:
        zones = [
            {"zone": n, "role": role, "is": f"{h.shown:.2f}", "should": f"{h.goal:.0f}",
             "push": f"{h.power:.3f}"}
            for n, (role, h) in enumerate((("extruder", m.nozzle), ("platform", m.bed)))
        ]  # fmt: skip
        return [{"zones": zones, "time": f"{m.up_s:.3f}"}]

    return OddHost("text fractions", say, BOTH)


def one_alone() -> OddHost:
    """One heater, at the top, without a name."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "Temperature": round(m.nozzle.shown, 2),
                "Setpoint": m.nozzle.goal,
                "Output": round(m.nozzle.power * 100.0, 1),
                "Timestamp": round(m.wall_s, 3),
            }
        ]

    return OddHost("one alone", say, NOZZLE, clock="s")


def errors_beside() -> OddHost:
    """Averages, errors, rates and limits stand beside what is wanted."""

    def say(m: Machine) -> list[Any]:
        h = m.nozzle
        return [
            {
                "loop": {
                    "measured": round(h.shown, 2),
                    "measured_avg": round(h.shown - 0.4, 2),
                    "reference": h.goal,
                    "control_error": round(h.goal - h.shown, 2),
                    "rate_k_s": round(1.0 - h.shown / 400.0, 3),
                    "u": round(h.power, 3),
                    "u_max": 1.0,
                    "integral": round(0.2 + h.power * 0.1, 4),
                }
            }
        ]

    must = ("nozzle.temperature_c", "nozzle.target_c", "nozzle.power")
    return OddHost("errors beside", say, must, life="holding")


def hot_already() -> OddHost:
    """All at temperature, meaningless names, kelvin, powers in percent."""

    def one(h: Heated) -> list[Any]:
        return [round(h.shown + 273.15, 2), round(h.goal + 273.15, 2), round(h.power * 100.0, 1)]

    def say(m: Machine) -> list[Any]:
        status = {"gru": one(m.nozzle), "pel": one(m.bed), "mo": [m.chamber.shown + 273.15, 0, 0]}
        return [notify("oof", [status, m.up_s * 1e6])]

    must = ("nozzle.temperature_c", "nozzle.target_c", "nozzle.power")
    return OddHost("hot already", say, must, life="holding", clock="us")


HOSTS = (
    parallel_arrays,
    sensor_and_heater_apart,
    dotted_changes,
    values_with_units,
    tuples,
    state_numbers,
    many_channels,
    one_of_two_machines,
    text_fractions,
    one_alone,
    errors_beside,
    hot_already,
)
