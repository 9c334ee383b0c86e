"""A text beside a number, in the same row or object, says its unit."""

import json
import random
from pathlib import Path
from typing import Any

import pytest

from client.learn import TextLink, learn, profile_text
from client.learn.units import unit_named
from client.mapping import Mapper
from client.profile import load_profile
from client.units import SUFFIXES, UNITS
from shared.updates import Entry, EntryKind, Value
from tests.client.learn.odd.machine import Heated, Machine


def read_again(messages: list[Any], folder: Path) -> dict[str, Value]:
    """What the drafted profile makes of the same messages, last values."""
    heard = [
        Entry(100.0 + 0.25 * n, EntryKind.MESSAGE, json.dumps(each).encode())
        for n, each in enumerate(messages)
    ]
    path = folder / "p.toml"
    path.write_text(profile_text(learn(heard), TextLink(addresses=("tcp://[::1]:9",))), "utf-8")
    mapper, held = Mapper(load_profile(path)), dict[str, Value]()
    for entry in heard:
        for update in mapper.feed(entry):
            held.update(update.values)
    return held


def quantities(h: Heated) -> list[tuple[str, str, float]]:
    """Name, unit and number as strange hosts give them."""
    return [
        ("lit", "degF", round(h.shown * 1.8 + 32.0, 2)),
        ("goal", "degF", round(h.goal * 1.8 + 32.0, 1)),
        ("oomph", "permille", round(h.power * 1000)),
    ]


def objects(m: Machine) -> Any:
    return {
        "cells": [
            {"tag": f"{h.name}/{name}", "unit": unit, "is": number}
            for h in (m.nozzle, m.bed)
            for name, unit, number in quantities(h)
        ]
    }


def rows(m: Machine) -> Any:
    return {
        "cells": [
            [f"{h.name} {name}", number, unit]
            for h in (m.nozzle, m.bed)
            for name, unit, number in quantities(h)
        ]
    }


def long_rows(m: Machine) -> Any:
    return {
        "parts": [
            [h.name, *(each for _, unit, number in quantities(h) for each in (number, unit))]
            for h in (m.nozzle, m.bed)
        ]
    }


def named_units(m: Machine) -> Any:
    return {
        h.name: {
            key: value
            for name, unit, number in quantities(h)
            for key, value in ((name, number), (f"{name}_unit", unit))
        }
        for h in (m.nozzle, m.bed)
    }


def nested(m: Machine) -> Any:
    return {
        h.name: {name: {"x": number, "u": unit} for name, unit, number in quantities(h)}
        for h in (m.nozzle, m.bed)
    }


@pytest.mark.parametrize("say", [objects, rows, long_rows, named_units, nested])
def test_a_unit_in_a_cell_beside_is_believed(say: Any, tmp_path: Path) -> None:
    """For temperatures and for shares, in whatever form the cell stands beside the number."""
    machine = Machine()
    held = read_again([say(machine.step()) for _ in range(90)], tmp_path)
    for h in (machine.nozzle, machine.bed):
        assert held[f"{h.name}.temperature_c"] == pytest.approx(h.shown, abs=0.01)
        assert held[f"{h.name}.target_c"] == pytest.approx(h.goal, abs=0.06)
        assert held[f"{h.name}.power"] == pytest.approx(h.power, abs=0.001)


@pytest.mark.parametrize("unit", ["%", "percent", "permille", "‰", "byte", "fraction"])
@pytest.mark.parametrize("seed", range(3))
def test_a_share_by_its_cell_is_never_a_temperature(unit: str, seed: int, tmp_path: Path) -> None:
    """Though it flutters as a reading does, and is named as one."""
    rng, messages = random.Random(seed), []
    for n in range(60):
        share = round(40.0 + 0.2 * n + rng.gauss(0.0, 0.1), 2)
        tip = round(30.0 + 2.0 * n + rng.gauss(0.0, 0.1), 2)
        messages.append([{"k": "tip", "u": "°C", "v": tip}, {"k": "temp", "u": unit, "v": share}])
    held = read_again(messages, tmp_path)
    shares = {one[1]["v"] for one in messages}
    readings = {value for key, value in held.items() if key.endswith("temperature_c")}
    assert readings == {messages[-1][0]["v"]}
    assert not readings & shares


def test_every_unit_that_a_value_may_bear_may_stand_in_a_cell() -> None:
    """Symbols and names of `client.units`, with space around."""
    assert {text: unit_named(f" {text} ") for text in SUFFIXES} == SUFFIXES
    assert all(unit_named(name) == name for name in UNITS if name)
    assert [unit_named(text) for text in ("rolling", "tip", "")] == ["", "", ""]
