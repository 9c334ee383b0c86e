"""Hosts drawn from the page on profiles alone: words for states that nobody knows, units behind
values, pairs, a value a message, and coordinates that look like clocks."""

from typing import Any

from tests.client.learn.odd.host import Changes, OddHost, Truth
from tests.client.learn.odd.machine import Heated, Machine
from tests.client.learn.odd.numbers import BOTH, NOZZLE, notify
from tests.client.learn.ways import Way

TRIP_AT = 60
"""Step at which the host trips, in a word of its own."""
STATED = (*NOZZLE, "host.state")
Truths = dict[str, Truth]


def kelvin(value: float) -> str:
    return f"{value + 273.15:.2f} K"


def fahrenheit(value: float) -> str:
    return f"{value * 1.8 + 32.0:.1f} °F"


def tripping(well: str, tripped: str) -> Truths:
    """The host's own words, which no one gave a meaning."""
    return {"host.state": lambda m: well if m.n < TRIP_AT else tripped}


def word(m: Machine, well: str, tripped: str) -> str:
    return well if m.n < TRIP_AT else tripped


def spoken_units() -> OddHost:
    """Kelvin and percent behind each value; its words for a state are no dictionary's."""

    def one(h: Heated) -> dict[str, Any]:
        return {"lit": kelvin(h.shown), "aim": kelvin(h.goal), "push": f"{h.power * 100:.1f} %"}

    def say(m: Machine) -> list[Any]:
        heads = {"snout": one(m.nozzle), "slab": one(m.bed)}
        return [{"heads": heads, "mood": word(m, "glimmering", "quenched"), "t": m.up_s}]

    truths = tripping("glimmering", "quenched")
    return OddHost("spoken units", say, STATED, truths, clock="s")


def parts_of_a_byte() -> OddHost:
    """Fahrenheit behind values, power as a part of 255, flat names."""

    def say(m: Machine) -> list[Any]:
        flat = {}
        for name, h in (("nozzle", m.nozzle), ("bed", m.bed)):
            flat[f"{name} temp"] = fahrenheit(h.shown)
            flat[f"{name} goal"] = fahrenheit(h.goal)
            flat[f"{name} drive"] = f"{round(h.power * 255)}/255"
        return [flat]

    return OddHost("parts of a byte", say, BOTH)


def numbered_pairs() -> OddHost:
    """Pairs of an id and a value with its unit; ids alone say what is what."""

    def say(m: Machine) -> list[Any]:
        rows: list[Any] = []
        for first, h in ((10, m.nozzle), (20, m.bed)):
            rows += [[first, kelvin(h.shown)], [first + 1, kelvin(h.goal)]]
            rows += [[first + 2, f"{h.power * 100:.1f} %"]]
        return [notify("v", [*rows, [30, word(m, "serene", "riven")]])]

    return OddHost("numbered pairs", say, STATED, tripping("serene", "riven"))


def named_rows() -> OddHost:
    """Rows named by their first cell, one of them the state."""

    def say(m: Machine) -> list[Any]:
        rows: list[Any] = [
            [name, round(h.shown, 2), h.goal, round(h.power, 3)]
            for name, h in (("nozzle", m.nozzle), ("bed", m.bed))
        ]
        return [{"rows": [*rows, ["phase", word(m, "weaving", "snarled")]], "at": m.up_s}]

    must = (*BOTH, "host.state")
    return OddHost("named rows", say, must, tripping("weaving", "snarled"), clock="s")


def dotted_pairs() -> OddHost:
    """Pairs of a dotted name and a text with its unit, the uptime and the state among them."""

    def say(m: Machine) -> list[Any]:
        rows: list[Any] = []
        for name, h in (("nozzle", m.nozzle), ("bed", m.bed)):
            rows += [[f"{name}.now", f"{h.shown:.2f} °C"], [f"{name}.want", f"{h.goal:.0f} °C"]]
            rows += [[f"{name}.duty", f"{h.power * 100:.1f} %"]]
        return [{"all": [*rows, ["mood", word(m, "purring", "sulking")]]}]

    return OddHost("dotted pairs", say, (*BOTH, "host.state"), tripping("purring", "sulking"))


def one_value_each() -> OddHost:
    """A message for each value, under its name."""

    def say(m: Machine) -> list[Any]:
        said: list[tuple[str, Any]] = []
        for name, h in (("nozzle", m.nozzle), ("bed", m.bed)):
            said += [(f"{name}/temp", round(h.shown, 2)), (f"{name}/target", h.goal)]
            said += [(f"{name}/power", round(h.power, 3))]
        said.append(("condition", word(m, "spinning", "cracked")))
        return [{"name": name, "value": value} for name, value in said]

    truths = tripping("spinning", "cracked")
    return OddHost("one value each", say, (*BOTH, "host.state"), truths)


def one_text_each() -> OddHost:
    """A message for each value, as a text with its unit, by a short id."""

    def say(m: Machine) -> list[Any]:
        said: list[tuple[str, str]] = []
        for name, h in (("T0", m.nozzle), ("T1", m.bed)):
            said += [
                (f"{name} actual", f"{h.shown:.2f} degC"),
                (f"{name} set", f"{h.goal:.1f} degC"),
            ]
            said += [(f"{name} output", f"{h.power * 100:.1f} %")]
        return [notify("val", {"id": name, "is": value}) for name, value in said]

    return OddHost("one text each", say, NOZZLE)


def numbers_for_states() -> OddHost:
    """The host's state is a number, and each channel has one too."""

    def one(h: Heated) -> dict[str, Any]:
        return {"temp": round(h.shown, 2), "target": h.goal, "power": round(h.power, 3), "mode": 64}

    def say(m: Machine) -> list[Any]:
        state = 4 if m.n < TRIP_AT else 70
        return [{"nozzle": one(m.nozzle), "bed": one(m.bed), "state": state, "clock": m.up_s}]

    must = (*BOTH, "host.state", "mode.temperature_c", "state.temperature_c")
    truths: Truths = {
        "host.state": lambda m: "4" if m.n < TRIP_AT else "70",
        "mode.temperature_c": lambda m: None,
        "state.temperature_c": lambda m: None,
    }
    return OddHost("numbers for states", say, must, truths, clock="s")


def a_sentence_as_status() -> OddHost:
    """What is named status is a sentence, the state stands elsewhere under a strange name."""

    def sentence(m: Machine) -> str:
        return f"Warming the left head to {m.nozzle.goal:.0f} degrees"

    def say(m: Machine) -> list[Any]:
        nozzle = {"temp": round(m.nozzle.shown, 2), "goal": m.nozzle.goal}
        nozzle["duty"] = round(m.nozzle.power, 3)
        lage = word(m, "froehlich", "verklemmt")
        return [{"nozzle": nozzle, "status": sentence(m), "lage": lage}]

    truths: Truths = {**tripping("froehlich", "verklemmt"), "host.message": sentence}
    return OddHost("a sentence as status", say, (*STATED, "host.message"), truths)


def a_slow_coordinate() -> OddHost:
    """A gantry creeps at 1 mm a second, but rests now and then. There is no clock."""

    def creeping(m: Machine) -> float:
        return round(20.0 + 0.25 * (min(m.n, 70) + max(m.n - 76, 0)), 2)

    def say(m: Machine) -> list[Any]:
        nozzle = {"temp": round(m.nozzle.shown, 2), "target": m.nozzle.goal}
        nozzle["power"] = round(m.nozzle.power, 3)
        return [{"nozzle": nozzle, "gantry": {"travel": creeping(m), "layer": 3}}]

    truths: Truths = {"controller.uptime_s": lambda m: None}
    return OddHost("a slow coordinate", say, (*NOZZLE, "controller.uptime_s"), truths)


def a_steady_coordinate() -> OddHost:
    """An axis goes at just 1 mm a second all the time, and there is no clock."""

    def say(m: Machine) -> list[Any]:
        nozzle = {"temp": round(m.nozzle.shown, 2), "target": m.nozzle.goal}
        nozzle["power"] = round(m.nozzle.power, 3)
        place = {"x": 10.0, "y": round(5.0 + 0.25 * m.n, 2), "z": 0.2}
        return [{"nozzle": nozzle, "place": place}]

    truths: Truths = {
        "motion.y_mm": lambda m: round(5.0 + 0.25 * m.n, 2),
        "controller.uptime_s": lambda m: None,
    }
    return OddHost("a steady coordinate", say, (*NOZZLE, *truths), truths)


def several_make_one() -> OddHost:
    """Readings, targets, powers and the state in messages of their own, over the same names."""

    def say(m: Machine) -> list[Any]:
        pairs = (("nozzle", m.nozzle), ("bed", m.bed))
        return [
            {"kind": "readings", "at": m.up_s, **{n: round(h.shown, 2) for n, h in pairs}},
            {"kind": "targets", "at": m.up_s, **{n: h.goal for n, h in pairs}},
            {"kind": "powers", "at": m.up_s, **{n: round(h.power, 3) for n, h in pairs}},
            {"kind": "phase", "at": m.up_s, "is": word(m, "knitting", "unravelled")},
        ]

    truths = tripping("knitting", "unravelled")
    return OddHost("several make one", say, (*BOTH, "host.state"), truths, clock="s")


def told_by_shape() -> OddHost:
    """Several messages that are one status, told apart by nothing but what is in them."""

    def say(m: Machine) -> list[Any]:
        pairs = (("nozzle", m.nozzle), ("bed", m.bed))
        return [
            {"temps": {n: round(h.shown, 2) for n, h in pairs}},
            {"targets": {n: h.goal for n, h in pairs}, "powers": {n: h.power for n, h in pairs}},
            {"machine": {"phase": word(m, "humming", "jammed")}},
        ]

    return OddHost("told by shape", say, (*BOTH, "host.state"), tripping("humming", "jammed"))


def back_to_back() -> OddHost:
    """JSON back to back, power of 0 to 255, microseconds since the host began, a sparse stream."""
    changes = Changes()

    def say(m: Machine) -> list[Any]:
        heads = {
            name: {"temp": round(h.shown, 2), "set": h.goal, "pwm": round(h.power * 255)}
            for name, h in (("nozzle", m.nozzle), ("bed", m.bed))
        }
        return [{"d": changes.of(heads, m), "micros": round(m.up_s * 1e6)}]

    return OddHost(
        "back to back", say, BOTH, given_way=Way("tcp", "back to back"), clock="us", life="heating"
    )


def down_already() -> OddHost:
    """It tripped before anyone listened: all is off, and its word is not known."""

    def say(m: Machine) -> list[Any]:
        heads = {
            name: {"actual": f"{h.shown:.2f} °C", "target": f"{h.goal:.0f} °C", "power": "0 %"}
            for name, h in (("nozzle", m.nozzle), ("bed", m.bed))
        }
        return [{"heads": heads, "state": "Kaput", "why": "the left head got too hot, see log"}]

    must = ("nozzle.temperature_c", "bed.temperature_c", "host.state", "host.message")
    truths: Truths = {
        "host.state": lambda m: "Kaput",
        "host.message": lambda m: "the left head got too hot, see log",
    }
    return OddHost("down already", say, must, truths, life="cold")


HOSTS = (
    spoken_units,
    parts_of_a_byte,
    numbered_pairs,
    named_rows,
    dotted_pairs,
    one_value_each,
    one_text_each,
    numbers_for_states,
    a_sentence_as_status,
    a_slow_coordinate,
    a_steady_coordinate,
    several_make_one,
    told_by_shape,
    back_to_back,
    down_already,
)
