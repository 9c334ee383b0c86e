"""What the user says of a host is taken, and proven, as what was found is."""

import json
import math
import random
from pathlib import Path
from typing import Any

import pytest

from client.learn import (
    Answers,
    Gatherer,
    TextLink,
    answers_in,
    draft_of,
    learn,
    profile_text,
)
from client.mapping import Mapper
from client.profile import load_profile
from shared.errors import BadInput
from shared.updates import Entry, EntryKind, Value
from tests.client.learn.odd.machine import STEP_S, Machine
from tests.client.learn.test_proven import Say, entries_of, places, values
from tui.learn_talk import found_lines

CALLS = {
    "tip": "nozzle.temperature_c kelvin",
    "aim": "nozzle.target_c kelvin",
    "push": "nozzle.power byte",
    "pad": "bed.temperature_c decicelsius",
    "pad aim": "bed.target_c decicelsius",
    "pad push": "bed.power permille",
    "wind": "fan.speed percent",
    "way": "motion.x_mm inch",
    "way 2": "motion.y_mm inch",
    "life": "controller.uptime_s min",
    "how": "host.state",
    "why": "host.message",
}


def quantities(m: Machine) -> dict[str, Any]:
    """What an owner can find in the manual, in units that nothing beside them says."""
    return {
        "tip": round(m.nozzle.shown + 273.15, 2),
        "aim": m.nozzle.goal + 273.15,
        "push": round(255 * m.nozzle.power),
        "pad": round(10 * m.bed.shown),
        "pad aim": round(10 * m.bed.goal),
        "pad push": round(1000 * m.bed.power),
        "wind": 40,
        "way": m.x / 25.4,
        "way 2": m.y / 25.4,
        "life": m.up_s / 60.0,
        "how": "q7",
        "why": "spool two",
    }


def true_of(m: Machine) -> dict[str, Value]:
    return {
        "nozzle.temperature_c": m.nozzle.shown,
        "nozzle.target_c": m.nozzle.goal,
        "nozzle.power": m.nozzle.power,
        "bed.temperature_c": m.bed.shown,
        "bed.target_c": m.bed.goal,
        "bed.power": m.bed.power,
        "fan.speed": 0.4,
        "motion.x_mm": m.x,
        "motion.y_mm": m.y,
        "controller.uptime_s": m.up_s,
    }


@pytest.mark.parametrize("shape", ["flat", "rows", "items", "pairs"])
@pytest.mark.parametrize("life", ["heating", "cold"])
def test_an_owner_who_says_all_by_paths_has_all_of_it_right(
    shape: str, life: Any, tmp_path: Path
) -> None:
    """Where names say nothing, among numbers that are nothing, heating or cold."""
    chance = random.Random(f"{shape} {life}")
    names = dict(zip(CALLS, chance.sample(range(10, 60), len(CALLS)), strict=True))
    steps = 100

    def say(m: Machine) -> list[Any]:
        said = {names[what]: value for what, value in quantities(m).items()}
        said |= {60: round(210 + 90 * math.sin(m.n * STEP_S), 2), 61: m.n % 17, 62: 24.1}
        if shape == "flat":
            return [{f"v{n}": value for n, value in said.items()}]
        if shape == "rows":
            return [{"all": [[n, value, "x"] for n, value in said.items()]}]
        if shape == "pairs":
            return [{"all": [[n, value] for n, value in said.items()]}]
        return [{"all": [{"id": f"v{n}", "value": value} for n, value in said.items()]}]

    entries = entries_of(say, life, steps)
    keys = {"flat": "v{}", "rows": "all/{}/0", "pairs": "{}", "items": "all/v{}/value"}
    calls = [f"{keys[shape].format(n)}={CALLS[what]}" for what, n in names.items()]
    draft = learn(entries, answers=answers_in(calls, ["q7=up"]))
    held = values(draft, entries, tmp_path)
    m = Machine(life)
    for _ in range(steps):
        m.step()
    for key, true in true_of(m).items():
        off = 0.06 if key.startswith("bed.t") else 0.011 if key.endswith("_c") else 0.002
        assert held[key] == pytest.approx(true, abs=off), key
    assert held["host.state"] == "up"
    assert held["host.message"] == "spool two"
    made_up = {key for key in held if key.rpartition(".")[2] in ("temperature_c", "target_c")}
    assert made_up <= true_of(m).keys()


def test_what_the_user_says_is_nothing_is_nothing() -> None:
    """And what it was taken from is found again."""

    def say(m: Machine) -> list[Any]:
        lure = {"temp": round(30.0 + m.n % 5 / 10, 1), "power": 0.25}
        return [
            {"nozzle": {"temp": round(m.nozzle.shown, 2), "target": m.nozzle.goal}, "box": lure}
        ]

    entries = entries_of(say)
    assert "box.temperature_c" in places(learn(entries))
    told = places(learn(entries, answers=answers_in(["box/temp=-", "box/power=-"], [])))
    assert set(told) == {"nozzle.temperature_c", "nozzle.target_c"}


def test_a_clock_that_is_none_is_not_taken() -> None:
    """A wall clock, say, that somebody sets by hand."""

    def say(m: Machine) -> list[Any]:
        return [{"nozzle": {"temp": round(m.nozzle.shown, 2)}, "ts": 1.7e9 + m.up_s}]

    entries = entries_of(say)
    assert learn(entries).clocks
    assert not learn(entries, answers=answers_in(["/ts=-"], [])).clocks


def test_a_power_that_is_said_keeps_its_own_unit(tmp_path: Path) -> None:
    """Beside a reading that is said, in percent as its range shows; the target in its kelvin."""

    def say(m: Machine) -> list[Any]:
        heat = [round(m.nozzle.shown + 273.15, 2), m.nozzle.goal + 273.15, 100 * m.nozzle.power]
        return [{"q1": heat[0], "q2": heat[1] if m.nozzle.goal else 0, "q3": heat[2]}]

    calls = ["q1=nozzle.temperature_c kelvin", "q2=nozzle.target_c", "q3=nozzle.power"]
    entries = entries_of(say)
    held = values(learn(entries, answers=answers_in(calls, [])), entries, tmp_path)
    assert held["nozzle.target_c"] == pytest.approx(210.0)
    assert held["nozzle.power"] == pytest.approx(1.0)


@pytest.mark.parametrize("is_text", [False, True])
@pytest.mark.parametrize("unit", ["", " ms"])
def test_where_the_clock_stands_can_be_said(is_text: bool, unit: str, tmp_path: Path) -> None:
    """In one kind of message alone, and within a JSON text."""

    def say(m: Machine) -> list[Any]:
        body = {"tip": {"temp": round(m.nozzle.shown, 2)}, "tick": round(m.up_s * 1000.0)}
        if m.n % 4 == 3:
            body = {"wear": 12.0 + m.n // 40}
        return [{"topic": "news", "body": json.dumps(body) if is_text else body}]

    entries = entries_of(say)
    draft = learn(entries, answers=answers_in([f"body/tick=clock{unit}"], []))
    assert [clock.unit for clock in draft.clocks.values()] == ["ms"]
    path = tmp_path / "p.toml"
    path.write_text(profile_text(draft, TextLink(addresses=("tcp://[::1]:9",))), encoding="utf-8")
    mapper = Mapper(load_profile(path))
    times = [update.time_s for entry in entries for update in mapper.feed(entry)]
    assert times[0] == pytest.approx(812.5)
    assert times[-1] == pytest.approx(837.0, abs=0.3)
    assert mapper.has_host_time


@pytest.mark.parametrize("call", [None, "{}0/1=clock us", "{}{}=clock us"])
@pytest.mark.parametrize("within", ["", "d/"])
@pytest.mark.parametrize("name", [1, "tick_us"])
def test_a_clock_may_stand_in_a_row(
    call: str | None, within: str, name: int | str, tmp_path: Path
) -> None:
    """Found or said, by the row's number or its name: it is read from the first message on."""

    def say(m: Machine) -> list[Any]:
        rows = [[name, round(m.up_s * 1e6)], ["tip", round(m.nozzle.shown, 2), m.nozzle.goal]]
        rows += [["pad", round(m.bed.shown, 2), m.bed.goal]]
        return [{"d": rows} if within else rows]

    entries = entries_of(say)
    calls = [] if call is None else [call.format(within, name)]
    draft = learn(entries, answers=answers_in(calls, []))
    path = tmp_path / "p.toml"
    path.write_text(profile_text(draft, TextLink(addresses=("tcp://[::1]:9",))), encoding="utf-8")
    mapper = Mapper(load_profile(path))
    times = [update.time_s for entry in entries for update in mapper.feed(entry)]
    assert times[0] == pytest.approx(812.5)
    assert len(times) == len(entries)


def test_a_path_may_end_above_the_one_value_that_stands_there() -> None:
    """As a manual has it, where the host puts each value under a word of its own."""

    def say(m: Machine) -> list[Any]:
        return [{"tip": {"temp": round(m.nozzle.shown, 2), "push": {"now": 100 * m.nozzle.power}}}]

    told = places(learn(entries_of(say), answers=answers_in(["tip/push=nozzle.power"], [])))
    assert told["nozzle.power"] == "push/now"


def test_an_uptime_may_be_the_clock_as_well(tmp_path: Path) -> None:
    """Where a host has but one number that runs."""

    def say(m: Machine) -> list[Any]:
        return [{"tip": {"temp": round(m.nozzle.shown, 2)}, "run": round(m.up_s * 1000.0)}]

    entries = entries_of(say)
    draft = learn(entries, answers=answers_in(["run=controller.uptime_s ms"], []))
    assert [clock.unit for clock in draft.clocks.values()] == ["ms"]
    assert values(draft, entries, tmp_path)["controller.uptime_s"] == pytest.approx(837.25)


def test_a_number_that_is_said_to_be_flags_is_read_by_its_bits(tmp_path: Path) -> None:
    """Though none was ever up."""

    def say(m: Machine) -> list[Any]:
        return [{"tip": {"temp": round(m.nozzle.shown, 2), "word": 4 * (m.n == 99)}}]

    entries = entries_of(say)
    draft = learn(entries[:-1], answers=answers_in(["tip/word=nozzle.flags"], []))
    held = values(draft, entries, tmp_path)
    assert next(value for key, value in held.items() if key.endswith("flags")) == "bit 2"


def operations(m: Machine) -> list[Any]:
    """Changes to a document as operations (RFC 6902), the clock first."""
    whole = {
        "/clock/s": m.up_s,
        "/hot/kelvin": round(m.nozzle.shown + 273.15, 2),
        "/hot/want": round(m.nozzle.goal + 273.15, 2) if m.nozzle.goal else None,
        "/hot/share": round(m.nozzle.power, 3),
        "/plate/kelvin": round(m.bed.shown + 273.15, 2),
        "/self/load": round(0.2 + m.n % 5 / 100, 2),
        "/self/layer": m.n // 30,
    }
    if m.n % 3:
        del whole["/self/layer"], whole["/hot/want"]
    op = "add" if m.n == 0 else "replace"
    return [[{"op": op, "path": path, "value": value} for path, value in whole.items()]]


def test_operations_on_a_document_are_items_by_their_paths(tmp_path: Path) -> None:
    """None of them says what a message is about."""
    entries = entries_of(operations)
    draft = learn(entries, answers=answers_in(["/hot/kelvin/value=nozzle"], []))
    held = values(draft, entries, tmp_path)
    assert held["nozzle.temperature_c"] == pytest.approx(116.75, abs=0.01)
    assert held["nozzle.target_c"] == pytest.approx(210.0)
    assert held["nozzle.power"] == 1.0
    assert sum(key.endswith("temperature_c") for key in held) == 2


@pytest.mark.parametrize(
    ("call", "said"),
    [
        ("ghost=nozzle.power", "nothing stands at 'ghost'; there are .*heat"),
        ("ghost=nozzle", "no channel is called 'ghost'"),
        ("heat=nozzle.power kelvin", "'kelvin' is no unit of power; choose fraction, percent"),
        ("heat=nozzle.state volts", "'volts' is no unit of state; give none"),
    ],
)
def test_an_answer_that_fits_nothing_says_what_there_is(call: str, said: str) -> None:
    entries = [
        Entry(0.25 * n, EntryKind.MESSAGE, json.dumps({"heat": 24.0 + n % 3 / 10}).encode())
        for n in range(20)
    ]
    with pytest.raises(BadInput, match=said):
        learn(entries, answers=answers_in([call], []))


def test_what_is_to_be_left_out_and_is_not_there_is_said_and_costs_nothing() -> None:
    """It may have gone with another answer; a clock that is not there is no small thing."""

    def say(m: Machine) -> list[Any]:
        return [{"nozzle": {"temp": round(m.nozzle.shown, 2)}}]

    entries = entries_of(say)
    draft = learn(entries, answers=answers_in(["ghost=-"], []))
    assert draft.unmet == ["ghost"]
    assert "ghost" in "\n".join(found_lines(draft))
    assert "nozzle.temperature_c" in places(draft)
    with pytest.raises(BadInput, match="nothing stands at 'ghost'"):
        learn(entries, answers=answers_in(["ghost=clock"], []))


def test_what_was_heard_is_drafted_from_as_often_as_the_user_answers() -> None:
    """Within a JSON text too: the second draft is as the first."""

    def say(m: Machine) -> list[Any]:
        body = {"tip": {"temp": round(m.nozzle.shown, 2), "push": round(m.nozzle.power, 3)}}
        return [{"seq": m.n, "body": json.dumps(body)}]

    gatherer = Gatherer()
    for entry in entries_of(say):
        gatherer.feed(entry)
    texts = [profile_text(draft_of(gatherer), TextLink()) for _ in range(2)]
    assert texts[0] == texts[1]
    assert 'status = "/body"' in texts[0]


def test_who_says_where_x_stands_has_no_z_from_elsewhere() -> None:
    """Steps of motors, say, which are named as a position as well."""

    def say(m: Machine) -> list[Any]:
        steps = [round(80 * m.x), round(80 * m.y), round(400 * m.z)]
        way = {"east": round(m.x, 2), "north": round(m.y, 2)}
        return [{"tip": {"temp": round(m.nozzle.shown, 2)}, "pos": steps, "way": way}]

    calls = ["way/east=motion.x_mm", "way/north=motion.y_mm"]
    told = places(learn(entries_of(say), answers=answers_in(calls, [])))
    assert {key for key in told if key.startswith("motion")} == {"motion.x_mm", "motion.y_mm"}


def test_the_same_said_twice_is_one_line() -> None:
    with pytest.raises(BadInput, match=r"'nozzle\.power'"):
        answers_in(["a=nozzle.power", "b=nozzle.power"], [])
    assert answers_in(["a=-", "b=-"], []) != Answers()


def words_in_items(m: Machine) -> list[Any]:
    """A state among items that a cell names."""
    rows = [["T1", f"{m.nozzle.shown:.1f}"], ["Z", "walks" if m.n > 50 else "sits"]]
    return [{"cells": [{"is": name, "has": value} for name, value in rows]}]


def test_a_power_in_watts_is_read_by_the_full_power(tmp_path: Path) -> None:
    """A heater of 40 W: each watt is a fortieth."""

    def say(m: Machine) -> list[Any]:
        heat = {"temp": round(m.nozzle.shown, 2), "watts": round(40.0 * m.nozzle.power, 2)}
        return [{"nozzle": heat}]

    entries = entries_of(say)
    draft = learn(entries, answers=answers_in(["nozzle/watts=nozzle.power 0.025"], []))
    shown = [part.scale for channel in draft.channels for part in channel.parts.values()]
    assert shown == [1.0, 0.025]
    watts = json.loads(entries[-1].payload)["nozzle"]["watts"]
    assert values(draft, entries, tmp_path)["nozzle.power"] == pytest.approx(watts / 40.0)


@pytest.mark.parametrize("say", [words_in_items])
def test_a_state_among_items_is_taken_by_its_path_or_a_word(say: Say, tmp_path: Path) -> None:
    entries = entries_of(say)
    for calls in (["cells/Z/has=host.state"], []):
        answers = answers_in(calls, ["walks=up", "sits=starting"])
        held = values(learn(entries, answers=answers), entries, tmp_path)
        assert held["host.state"] == "up"
