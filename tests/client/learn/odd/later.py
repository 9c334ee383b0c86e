"""Ten more hosts, drawn after what the last ones taught: rows and ids one a message, a state among
items and by a method of its own, units of all kinds."""

from typing import Any

from tests.client.learn.odd.host import OddHost, Truth
from tests.client.learn.odd.machine import Heated, Machine
from tests.client.learn.odd.numbers import BOTH, NOZZLE, notify
from tests.client.learn.odd.untold import STATED, TRIP_AT, kelvin, tripping, word
from tests.client.learn.ways import Way

Truths = dict[str, Truth]


def of(h: Heated) -> dict[str, Any]:
    return {"temp": round(h.shown, 2), "target": h.goal, "power": round(h.power, 3)}


def a_pair_a_message() -> OddHost:
    """Each message is one row of a name and a value."""

    def say(m: Machine) -> list[Any]:
        said: list[Any] = []
        for name, h in (("nozzle", m.nozzle), ("bed", m.bed)):
            said += [[f"{name} temp", round(h.shown, 2)], [f"{name} target", h.goal]]
            said += [[f"{name} power", round(h.power * 100, 1)]]
        return [*said, ["mode", word(m, "brooding", "scorched")]]

    truths = tripping("brooding", "scorched")
    return OddHost("a pair a message", say, (*BOTH, "host.state"), truths)


def ids_and_quantities() -> OddHost:
    """A message a value, by a channel's number and a quantity's short name."""

    def say(m: Machine) -> list[Any]:
        said: list[Any] = []
        for n, h in ((1, m.nozzle), (2, m.bed)):
            said += [{"ch": n, "q": "pv", "v": f"{h.shown:.2f} °C"}]
            said += [{"ch": n, "q": "sp", "v": f"{h.goal:.1f} °C"}]
            said += [{"ch": n, "q": "out", "v": f"{h.power * 100:.1f} %"}]
        return said

    return OddHost("ids and quantities", say, NOZZLE)


def a_state_among_items() -> OddHost:
    """The machine is one of the named items, and its status stands there."""

    def say(m: Machine) -> list[Any]:
        items: list[Any] = [
            {"name": name, "pv": round(h.shown, 2), "sp": h.goal, "op": round(h.power, 3)}
            for name, h in (("nozzle", m.nozzle), ("bed", m.bed))
        ]
        items.append({"name": "machine", "status": word(m, "blooming", "wilted")})
        return [{"items": items, "ts": round(m.wall_s * 1000)}]

    truths = tripping("blooming", "wilted")
    return OddHost("a state among items", say, (*BOTH, "host.state"), truths, clock="ms")


def a_state_of_parts() -> OddHost:
    """Under status stand a word, a number and a sentence; the uptime bears its unit."""

    def say(m: Machine) -> list[Any]:
        status = {"word": word(m, "Merry", "Grim"), "code": 0, "text": "all as it should be"}
        hotend = {"t": round(m.nozzle.shown, 2), "tt": m.nozzle.goal}
        return [{"hotend": hotend, "status": status, "uptime": f"{m.up_s:.2f} s"}]

    truths: Truths = {
        **tripping("Merry", "Grim"),
        "controller.uptime_s": lambda m: round(m.up_s, 2),
        "host.message": lambda m: "all as it should be",
    }
    return OddHost("a state of parts", say, (*NOZZLE[:2], *truths), truths)


def many_units() -> OddHost:
    """Thousandths of degrees beside degrees, permille, ohms."""

    def say(m: Machine) -> list[Any]:
        h = m.nozzle
        head = {
            "reading": f"{h.shown * 1000:.0f} m°C",
            "aim": f"{h.goal:.0f} °C",
            "level": f"{h.power * 1000:.0f} ‰",
            "res": f"{m.ohm:.3f} Ω",
        }
        return [{"left head": head, "condition": word(m, "lofty", "sunk")}]

    truths: Truths = {
        **tripping("lofty", "sunk"),
        "nozzle.resistance_ohm": lambda m: round(m.ohm, 3),
    }
    return OddHost("many units", say, (*STATED, "nozzle.resistance_ohm"), truths)


def topics_that_make_one() -> OddHost:
    """Readings, powers and mood by topic. A clock stands in one topic alone: it is not used."""

    def say(m: Machine) -> list[Any]:
        h = m.nozzle
        return [
            {"topic": "heat", "nozzle_temp": kelvin(h.shown), "nozzle_target": kelvin(h.goal)},
            {"topic": "drive", "nozzle_power": f"{h.power * 100:.1f} %", "clock": m.up_s},
            {"topic": "mood", "mood": word(m, "cosy", "doused")},
        ]

    return OddHost("topics that make one", say, STATED, tripping("cosy", "doused"))


def a_method_for_the_state() -> OddHost:
    """The state comes by a method of its own, without any number."""

    def say(m: Machine) -> list[Any]:
        phase = notify("phase", [word(m, "gliding", "stranded")])
        log = notify("log", {"line": f"step {m.n} is done, and all that goes with it"})
        return [notify("heat", [{"nozzle": of(m.nozzle)}]), phase, log, log]

    return OddHost("a method for the state", say, STATED, tripping("gliding", "stranded"))


def numbers_in_rows() -> OddHost:
    """Rows named by their first cell; the state is a number in one; microseconds since start."""

    def say(m: Machine) -> list[Any]:
        rows: list[Any] = [
            [name, round(h.shown, 2), h.goal, round(h.power, 3), 2]
            for name, h in (("nozzle", m.nozzle), ("bed", m.bed))
        ]
        rows.append(["phase", 3 if m.n < TRIP_AT else 11])
        return [{"rows": rows, "tick": round(m.up_s * 1e6)}]

    return OddHost("numbers in rows", say, (*BOTH, "host.state"), tripping("3", "11"), clock="us")


def a_fourth_axis() -> OddHost:
    """An axis beside x and y goes at 1 mm a second; a state's number stands among temperatures."""

    def say(m: Machine) -> list[Any]:
        path = {"x": round(m.x, 2), "y": round(m.y, 2), "z": m.z, "e": round(50 + 0.2501 * m.n, 3)}
        temps = {"nozzle": round(m.nozzle.shown, 2), "bed": round(m.bed.shown, 2), "state": 3}
        targets = {"nozzle": m.nozzle.goal, "bed": m.bed.goal}
        progress = round(0.3 + m.n / 1000, 3)
        return [{"temps": temps, "targets": targets, "path": path, "progress": progress}]

    nothing: Truths = {"state.temperature_c": lambda m: None, "controller.uptime_s": lambda m: None}
    must = ("nozzle.temperature_c", "nozzle.target_c", "bed.temperature_c", "bed.target_c")
    return OddHost("a fourth axis", say, (*must, *nothing), nothing)


def pairs_back_to_back() -> OddHost:
    """Lists of pairs with nothing between, units right behind numbers, codes for states."""

    def say(m: Machine) -> list[Any]:
        h = m.nozzle
        rows = [["T", f"{h.shown:.2f}C"], ["S", f"{h.goal:.0f}C"]]
        rows += [["P", f"{round(h.power * 255)}/255"], ["mode", word(m, "A1", "F7")]]
        return [rows]

    way = Way("tcp", "back to back")
    return OddHost("pairs back to back", say, STATED, tripping("A1", "F7"), given_way=way)


HOSTS = (
    a_pair_a_message,
    ids_and_quantities,
    a_state_among_items,
    a_state_of_parts,
    many_units,
    topics_that_make_one,
    a_method_for_the_state,
    numbers_in_rows,
    a_fourth_axis,
    pairs_back_to_back,
)
