"""Hosts whose ids say nothing: what a number is shows in how it goes alone. Settings, powers,
counts and states stand between the readings, as numbers like all others."""

from typing import Any

from tests.client.learn.odd.host import OddHost, Truth
from tests.client.learn.odd.machine import Heated, Machine
from tests.client.learn.odd.numbers import NOZZLE, notify
from tests.client.learn.odd.untold import tripping, word
from tests.client.learn.ways import Way

Truths = dict[str, Truth]


def bed_as(name: str) -> Truths:
    """The bed's truths under a channel's name that is not ours."""
    return {
        f"{name}.temperature_c": lambda m: m.bed.shown,
        f"{name}.target_c": lambda m: m.bed.goal,
        f"{name}.power": lambda m: m.bed.power,
    }


def none_else(*names: str) -> Truths:
    """Channels that must not be there."""
    return {f"{name}.temperature_c": lambda m: None for name in names}


def columns_of_hundredths() -> OddHost:
    """All readings, then all settings, then all powers, in whole numbers; a count and a state."""

    def say(m: Machine) -> list[Any]:
        both = (m.nozzle, m.bed)
        cells = [round(h.shown * 100) for h in both] + [round(h.goal * 100) for h in both]
        cells += [round(h.power * 1000) for h in both]
        return [{"row": [*cells, 300 + m.n, 5]}]

    must = (*NOZZLE, "sensor 1.temperature_c", "sensor 1.target_c")
    return OddHost("columns of hundredths", say, must, bed_as("sensor 1"))


def kelvin_by_place() -> OddHost:
    """Kelvin, where 0 is off; a byte for power; the state is a word at the end."""

    def say(m: Machine) -> list[Any]:
        def three(h: Heated) -> list[Any]:
            goal = round(h.goal + 273.15, 2) if h.goal else 0
            return [round(h.shown + 273.15, 2), goal, round(h.power * 255)]

        return [[three(m.nozzle), three(m.bed), word(m, "purring", "sunken")]]

    truths: Truths = {**tripping("purring", "sunken")}
    return OddHost("kelvin by place", say, (*NOZZLE, "host.state"), truths)


def fahrenheit_by_number() -> OddHost:
    """Numbered values, one a message, in fahrenheit; null is off; a share as a fraction text."""

    def say(m: Machine) -> list[Any]:
        said: list[Any] = []
        for first, h in ((40, m.nozzle), (50, m.bed)):
            goal = round(h.goal * 1.8 + 32.0, 1) if h.goal else None
            said.append({"no": first, "v": round(h.shown * 1.8 + 32.0, 2)})
            said.append({"no": first + 1, "v": goal})
            said.append({"no": first + 2, "v": f"{round(h.power * 255)}/255"})
        return said

    return OddHost("fahrenheit by number", say, NOZZLE)


def letters_and_numbers() -> OddHost:
    """Ids of a letter and a number, values as text; a fan and a level beside them."""

    def say(m: Machine) -> list[Any]:
        values = {"Q1": f"{m.nozzle.shown:.2f} C", "Q2": f"{m.nozzle.goal:.1f} C"}
        values |= {"Q3": f"{m.nozzle.power * 100:.1f} %", "T1": f"{m.bed.shown:.2f} C"}
        values |= {"T2": f"{m.bed.goal:.1f} C", "T3": f"{m.bed.power * 100:.1f} %"}
        values |= {"X1": "40 %", "W9": word(m, "gleaming", "snuffed out")}
        return [{"all": [{"uid": key, "is": value} for key, value in values.items()]}]

    truths: Truths = {
        **tripping("gleaming", "snuffed out"),
        **bed_as("T1"),
        **none_else("Q2", "Q3", "T2", "T3", "X1"),
    }
    return OddHost("letters and numbers", say, (*NOZZLE, *truths), truths)


def units_in_cells() -> OddHost:
    """A unit in a cell of each row; a share that flutters stands first; text for people."""

    def say(m: Machine) -> list[Any]:
        rows: list[Any] = [["air", round(61.0 + 0.3 * (m.n % 7), 1), "%"]]
        for name, h in (("lance", m.nozzle), ("sole", m.bed)):
            rows += [[f"{name} r", round(h.shown + 273.15, 2), "K"]]
            rows += [[f"{name} s", round(h.goal + 273.15, 2) if h.goal else 0, "K"]]
            rows += [[f"{name} p", round(h.power * 1000), "permille"]]
        return [notify("sheet", {"rows": rows}), notify("aside", ["all goes as it should today"])]

    truths: Truths = {
        "host.message": lambda m: "all goes as it should today",
        **none_else("air"),
    }
    return OddHost(
        "units in cells", say, (*NOZZLE, *truths), truths, given_way=Way("ws", "message")
    )


def a_state_that_stands() -> OddHost:
    """The state's word is nowhere named so, and did not change while it was listened to."""

    def say(m: Machine) -> list[Any]:
        heat = {"temp": round(m.nozzle.shown, 2), "target": m.nozzle.goal}
        return [{"kind": "beat", "nozzle": heat, "gist": "hale", "build": "v3"}]

    truths: Truths = {"host.state": lambda m: "hale"}
    return OddHost("a state that stands", say, (*NOZZLE[:2], "host.state"), truths)


HOSTS = (
    columns_of_hundredths,
    kelvin_by_place,
    fahrenheit_by_number,
    letters_and_numbers,
    units_in_cells,
    a_state_that_stands,
)
