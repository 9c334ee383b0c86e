"""What is drafted is proven by how it goes, on hosts of several shapes, heating and holding."""

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from client.form import Request
from client.learn import Answers, Draft, TextLink, answers_in, learn, profile_text
from client.mapping import Mapper
from client.profile import load_profile
from shared.unreadable import UNREADABLE
from shared.updates import Entry, EntryKind, Value
from tests.client.learn.odd.machine import STEP_S, Life, Machine

Say = Callable[[Machine], list[Any]]
SINCE_S = Machine("heating").up_s
"""A clock that begins with the machine's heat says numbers as small as degrees."""


def entries_of(say: Say, life: Life = "heating", steps: int = 100) -> list[Entry]:
    machine, entries = Machine(life), list[Entry]()
    for n in range(steps):
        machine.step()
        for late, message in enumerate(say(machine)):
            own_s = 900.0 + n * STEP_S + 0.001 * late
            entries.append(Entry(own_s, EntryKind.MESSAGE, json.dumps(message).encode()))
    return entries


def places(draft: Draft) -> dict[str, str]:
    """By channel and quantity, the last steps of where it stands."""
    return {
        f"{channel.name}.{quantity}": "/".join(map(str, found.series.place[-2:]))
        for channel in draft.channels
        for quantity, found in channel.parts.items()
    }


def values(draft: Draft, entries: list[Entry], folder: Path) -> dict[str, Value]:
    path = folder / "p.toml"
    path.write_text(profile_text(draft, TextLink(addresses=("tcp://[::1]:9",))), encoding="utf-8")
    mapper, held = Mapper(load_profile(path)), dict[str, Value]()
    for entry in entries:
        for update in mapper.feed(entry):
            held |= update.values
    return held


def steady(m: Machine) -> float:
    """A bed that heats by a degree a second, to the hundredth."""
    return round(24.0 + m.n * STEP_S * 1.004 + m.chance.gauss(0.0, 0.02), 2)


def in_kelvin(m: Machine) -> list[Any]:
    heat = {"tip": {"at_K": round(m.nozzle.shown + 273.15, 2)}, "pad": {"at_K": steady(m) + 273.15}}
    return [{"micros": round(m.up_s * 1e6), "all": heat}]


def in_a_list(m: Machine) -> list[Any]:
    rows = [{"id": "pad", "gauge": steady(m)}, {"id": "tip", "gauge": round(m.nozzle.shown, 2)}]
    return [{"rows": rows, "i": m.n}]


@pytest.mark.parametrize(("say", "clock"), [(in_kelvin, "us"), (in_a_list, None)])
def test_a_bed_that_heats_by_a_degree_a_second_is_no_clock(say: Say, clock: str | None) -> None:
    """Its unit says so, or its sisters; a clock that there is is found beside it."""
    draft = learn(entries_of(say))
    assert {found.unit for found in draft.clocks.values()} == ({clock} if clock else set())
    assert not any(key.endswith("uptime_s") for key in places(draft))


UPTIMES: dict[str, Callable[[Machine], tuple[str, Any]]] = {
    "days by name": lambda m: ("RunDays", m.up_s / 86400.0 + 3.0),
    "hours by name": lambda m: ("awake_hours", round(m.up_s / 3600.0, 5)),
    "minutes as text": lambda m: ("since_boot", f"{m.up_s / 60.0:.2f} min"),
    "milliseconds": lambda m: ("uptime_ms", round(m.up_s * 1000.0)),
}


@pytest.mark.parametrize("what", UPTIMES)
def test_an_uptime_is_found_in_the_unit_that_it_says(what: str, tmp_path: Path) -> None:
    """And is never a share of power, though it lies between 0 and 1."""

    def say(m: Machine) -> list[Any]:
        name, value = UPTIMES[what](m)
        board = {"temp": 31.0 + m.n % 3 / 10, name: value}
        return [{"nozzle": {"temp": round(m.nozzle.shown, 2)}, "board": board}]

    entries = entries_of(say)
    held = values(learn(entries), entries, tmp_path)
    more = 3.0 * 86400.0 if "days" in what else 0.0
    true_s = 812.5 + 99 * STEP_S + more
    assert held["controller.uptime_s"] == pytest.approx(true_s, abs=0.7)
    assert not any(key.endswith("power") for key in held)


def test_a_time_of_day_names_nothing(tmp_path: Path) -> None:
    """Messages that together are one status, each with the moment as text."""

    def say(m: Machine) -> list[Any]:
        when = f"2027-03-01T10:{m.n // 240:02}:{m.n % 240 * STEP_S:06.3f}Z"
        heat = {"tip": [round(m.nozzle.shown, 2), m.nozzle.goal], "pad": [m.bed.shown, m.bed.goal]}
        place = {"spot": [round(m.x, 2), round(m.y, 2), m.z]}
        return [{"when": when, "of": "heat"} | heat, {"when": when, "of": "place"} | place]

    entries = entries_of(say)
    draft = learn(entries)
    assert [found.unit for found in draft.clocks.values()] == ["iso"]
    held = values(draft, entries, tmp_path)
    assert held["nozzle.target_c"] == 210.0


def test_what_stands_beside_named_rows_is_not_lost(tmp_path: Path) -> None:
    """A state, and rows that hold a reading and nulls alone."""

    def say(m: Machine) -> list[Any]:
        rows = [[n, round(h.shown, 2), h.goal, round(h.power, 2)] for n, h in heaters(m)]
        rows.append(["hood", round(30.0 + m.n % 5 / 10, 1), None, None])
        return [{"table": rows, "stage": "simmering" if m.n < 60 else "stirring"}]

    entries = entries_of(say)
    held = values(learn(entries, answers=Answers(words={"stirring": ""})), entries, tmp_path)
    assert held["host.state"] == "stirring"
    assert held["nozzle.target_c"] == 210.0
    assert held["hood.temperature_c"] == pytest.approx(30.4)


def heaters(m: Machine) -> list[tuple[str, Any]]:
    return [("spout", m.nozzle), ("slab", m.bed)]


@pytest.mark.parametrize("life", ["heating", "holding"])
@pytest.mark.parametrize("words", [(), ("4",)])
def test_coordinates_beside_counts_are_no_sensors(life: Life, words: tuple[str, ...]) -> None:
    """By numbers alone, with layers for targets, whatever words were given."""

    def say(m: Machine) -> list[Any]:
        tip = [[31, round(m.nozzle.shown, 1)], [32, m.nozzle.goal], [33, round(m.nozzle.power, 3)]]
        spin = m.n * STEP_S
        way = [[51, round(90.0 + 70.0 * math.sin(1.1 * spin), 2)], [52, round(m.y, 2)], [53, 7.4]]
        counts = [[60, 158 + m.n // 40], [61, 340], [70, 4]]
        return [{"vals": [*tip, *way, *counts]}]

    draft = learn(entries_of(say, life), answers=Answers(words=dict.fromkeys(words, "")))
    sensors = [channel for channel in draft.channels if "temperature_c" in channel.parts]
    assert [channel.path for channel in sensors] == ["31"]
    assert sensors[0].parts["target_c"].series.place == ("32",)


def test_a_carriage_that_sets_off_is_no_sensor() -> None:
    """It stood until the layers began to count, and then went there and back but once."""

    def say(m: Machine) -> list[Any]:
        spin = max(m.n - 75, 0) * STEP_S
        way = [[41, round(71.0 + 50.0 * math.sin(spin), 2)], [42, round(106.0 + spin, 2)]]
        tip = [[21, round(m.nozzle.shown, 1)], [22, m.nozzle.goal], [23, round(m.nozzle.power, 3)]]
        return [{"vals": [*tip, *way, [50, 95 if m.n < 75 else 176], [51, 300]]}]

    found = learn(entries_of(say, "holding"))
    assert [c.path for c in found.channels if "temperature_c" in c.parts] == ["21"]


def test_a_number_that_never_moved_is_no_code() -> None:
    """Though it may be what a converter gives for a reading that hardly moves."""

    def say(m: Machine) -> list[Any]:
        hood = {"temp": round(31.0 + m.chance.gauss(0.0, 0.02), 2)}
        return [{"hood": hood, "nozzle": {"temp": m.nozzle.shown}, "job": {"file_id": 4417}}]

    assert not any(key.endswith("code") for key in places(learn(entries_of(say))))


def labelled(m: Machine) -> list[Any]:
    ids = {"a7": ("molten end", m.nozzle), "c2": ("base plate", m.bed), "d9": ("hood", m.chamber)}
    seen = {name: {"label": label, "deg": round(h.shown, 2)} for name, (label, h) in ids.items()}
    return [{"seen": seen, "want": {name: h.goal for name, (_, h) in ids.items()}}]


def test_a_label_names_a_channel_and_is_no_state() -> None:
    draft = learn(entries_of(labelled))
    assert {"nozzle", "bed", "hood"} == {channel.name for channel in draft.channels}
    assert draft.states == []


def test_a_text_that_says_a_channels_name_is_no_state() -> None:
    def say(m: Machine) -> list[Any]:
        return [{"tool": "nozzle", "nozzle": {"temp": m.nozzle.shown, "target": m.nozzle.goal}}]

    assert learn(entries_of(say)).states == []


def test_off_is_known_before_it_is_heard(tmp_path: Path) -> None:
    """Where targets are texts, a word may stand there."""

    def say(m: Machine) -> list[Any]:
        return [{"nozzle": {"temp": f"{m.nozzle.shown:.1f} C", "goal": "210 C"}}]

    entries = entries_of(say)
    off = json.dumps({"nozzle": {"temp": "199.0 C", "goal": "off"}}).encode()
    held = values(learn(entries), [*entries, Entry(990.0, EntryKind.MESSAGE, off)], tmp_path)
    assert held["nozzle.target_c"] == 0.0


def ended(draft: Draft, entries: list[Entry], last: Any, folder: Path) -> dict[str, Value]:
    """What is held after one more message."""
    more = Entry(990.0, EntryKind.MESSAGE, json.dumps(last).encode())
    return values(draft, [*entries, more], folder)


def told(draft: Draft, entries: list[Entry], later: Any, folder: Path) -> dict[str, Value]:
    last = [
        Entry(at, EntryKind.MESSAGE, json.dumps(m).encode())
        for at, m in ((990.0, later), (992.0, json.loads(entries[-1].payload)))
    ]
    return values(draft, [*entries, *last], folder)


@pytest.mark.parametrize(
    ("wrap", "later", "said"),
    [
        (lambda body: body, {"wail": {"why": "guard fell"}}, "wail: guard fell"),
        (lambda body: body, {"grief": None, "spout": {}}, ""),
        (
            lambda body: {"method": "heat", "params": body},
            {"method": "trip.told", "params": {"text": "guard fell"}},
            "trip.told: guard fell",
        ),
    ],
)
def test_a_message_of_a_kind_that_was_not_heard_is_told(
    wrap: Callable[[Any], Any], later: Any, said: str, tmp_path: Path
) -> None:
    """By the name that it bears, with its longest text; null says nothing yet."""

    def say(m: Machine) -> list[Any]:
        return [wrap({n: {"temp": h.shown, "target": h.goal} for n, h in heaters(m)})]

    entries = entries_of(say)
    held = told(learn(entries), entries, later, tmp_path)
    assert str(held.get(UNREADABLE, "")).endswith(said)
    assert (UNREADABLE in held) == bool(said)


def test_another_method_may_tell_the_state(tmp_path: Path) -> None:
    """It stands where the answer had it."""
    ask = Request(json='{"method": "follow"}')

    def say(m: Machine) -> list[Any]:
        body: dict[str, Any] = {n: {"temp": h.shown, "target": h.goal} for n, h in heaters(m)}
        if m.n == 0:
            return [{"id": 1, "result": body | {"armed": True}}]
        return [{"method": "heat.news", "params": body}]

    entries = entries_of(say)
    answers = answers_in([], ["true=up", "false=halted"])
    draft = learn(entries, [ask], answers=answers)
    later = {"method": "guard.news", "params": {"armed": False}}
    assert told(draft, entries, later, tmp_path)["host.state"] == "halted"


def test_a_request_with_a_token_is_read_back_without_it() -> None:
    """Nothing secret is needed for what was heard, and none is written."""
    ask = Request(json='{"enter": {"pass": "${token}"}}', envelope=False)

    def say(m: Machine) -> list[Any]:
        return [{n: {"temp": h.shown, "target": h.goal} for n, h in heaters(m)}]

    draft = learn(entries_of(say), [ask])
    assert "nozzle.target_c" in places(draft)
    assert "${token}" in profile_text(draft, TextLink())


def test_a_bed_alone_that_heats_by_a_degree_a_second_is_no_clock() -> None:
    """No unit, no sisters, no name that speaks of heat, and no other clock."""

    def say(m: Machine) -> list[Any]:
        return [{"spout": [round(m.nozzle.shown, 2), m.nozzle.goal], "rig": {"plate_v": steady(m)}}]

    draft = learn(entries_of(say))
    assert not draft.clocks
    assert "controller.uptime_s" not in places(draft)


def test_a_member_named_id_may_name_what_a_value_is_of(tmp_path: Path) -> None:
    """One value a message, and no request that an id would answer."""

    def say(m: Machine) -> list[Any]:
        of = {"spout/now": round(m.nozzle.shown, 2), "spout/goal": m.nozzle.goal}
        of |= {"slab/now": round(m.bed.shown, 2), "slab/goal": m.bed.goal}
        return [{"id": name, "val": value} for name, value in of.items()]

    entries = entries_of(say)
    held = values(learn(entries), entries, tmp_path)
    assert held["nozzle.target_c"] == 210.0
    assert held["slab.target_c"] == 60.0


def test_of_two_switches_the_state_is_the_one_that_calls_a_host_that_runs_up() -> None:
    """And what is so while all is well is no fault of a converter's."""

    def say(m: Machine) -> list[Any]:
        tip = {"at_C": round(m.nozzle.shown, 2), "want_C": m.nozzle.goal}
        return [{"tip": tip, "rig": {"flags": {"able": True, "locked_out": False}}}]

    draft = learn(entries_of(say), answers=answers_in([], ["true=halted", "false=up"]))
    told = places(draft)
    assert told["host.state"].endswith("locked_out")
    assert not [name for name in told if name.endswith(".flags")]


def test_a_measurement_in_a_unit_that_is_not_known_names_nothing() -> None:
    """A supply's volts as text come and go among few values, as names do."""

    def say(m: Machine) -> list[Any]:
        tip = {"is": f"{m.nozzle.shown:.2f} °C", "set": f"{m.nozzle.goal:.0f} °C"}
        return [{"rail": f"{24.0 + m.n * 7 % 9 / 100:.2f} V", "zones": [{"zone": "tip"} | tip]}]

    draft = learn(entries_of(say))
    assert len([channel for channel in draft.channels if "temperature_c" in channel.parts]) == 1
    assert not any(source.under for source in draft.sources)


def test_what_is_allowed_at_most_is_no_target() -> None:
    """A reading comes nearer to its limit too, and comes to stand far below it."""

    def say(m: Machine) -> list[Any]:
        return [{n: {"reading": round(h.shown, 2), "roof": 300.0} for n, h in heaters(m)}]

    for steps in (400, 900):
        draft = learn(entries_of(say, steps=steps))
        assert [key for key in places(draft) if key.endswith("target_c")] == [], steps


def test_what_is_said_to_be_for_a_sensor_is_that_sensors(tmp_path: Path) -> None:
    """Things of their own that say which one they heat, in another order; off in its own word."""

    def say(m: Machine) -> list[Any]:
        (n, a), (k, b) = list(heaters(m))
        probes = [{"id": n, "temp": a.shown}, {"id": k, "temp": b.shown}]
        drives = [
            {"id": each, "for": name, "goal": goal, "demand": f"{h.power * 255:.0f}/255"}
            for each, name, h in (("y", k, b), ("z", n, a))
            for goal in [f"{h.goal + 273.15:.2f} K" if h.goal else "resting"]
        ]
        return [{"probes": probes, "drives": drives}]

    entries = entries_of(say)
    draft = learn(entries)
    held = values(draft, entries, tmp_path)
    names = {channel.theirs: channel.name for channel in draft.channels}
    last = json.loads(entries[-1].payload)["drives"]
    for drive in last:
        goal = held[f"{names[drive['for']]}.target_c"]
        assert goal == pytest.approx(float(drive["goal"].split()[0]) - 273.15)
        share = float(drive["demand"].split("/")[0]) / 255
        assert held[f"{names[drive['for']]}.power"] == pytest.approx(share)


@pytest.mark.parametrize(("parts", "unit"), [(1000, "millikelvin"), (10, "decikelvin")])
def test_parts_of_a_kelvin_are_told_from_parts_of_a_degree(
    parts: int, unit: str, tmp_path: Path
) -> None:
    """By a room's temperature and by targets that are round in °C; names are but letters."""

    def say(m: Machine) -> list[Any]:
        rows: dict[str, int] = {}
        for letter, (_, h) in zip("ab", heaters(m), strict=True):
            is_k, aim_k = (round((celsius + 273.15) * parts) for celsius in (h.shown, h.goal))
            rows |= {f"{letter}.m": is_k, f"{letter}.s": aim_k if h.goal else 0}
            rows |= {f"{letter}.d": round(1000 * h.power)}
        return [{"seen": [list(pair) for pair in rows.items()], "us": round(m.up_s * 1e6)}]

    entries = entries_of(say)
    draft = learn(entries)
    held = values(draft, entries, tmp_path)
    assert held["nozzle.target_c"] == pytest.approx(210.0, abs=0.6 / parts)
    degrees = [part for c in draft.channels for q, part in c.parts.items() if q.endswith("_c")]
    assert {part.unit for part in degrees} == {unit}


def test_the_filaments_feed_is_told_from_the_speed_of_the_way(tmp_path: Path) -> None:
    """Both are millimetres a second; the positions show which is which, and by what minute."""

    def say(m: Machine) -> list[Any]:
        x, y = 100.0 + 60.0 * math.sin(m.n / 5.0), 100.0 + 60.0 * math.cos(m.n / 5.0)
        way = {"x": round(x, 2), "y": round(y, 2), "z": 0.4, "pace": 48.0 * 60.0}
        return [{"tip": {"temp": m.nozzle.shown}, "way": way, "feed": 1.9, "vent": "40 %"}]

    entries = entries_of(say)
    held = values(learn(entries), entries, tmp_path)
    assert held["motion.feed_mm_s"] == 1.9
    assert held["motion.speed_mm_s"] == pytest.approx(48.0)
    assert held["fan.speed"] == pytest.approx(0.4)


def test_a_part_of_a_sentence_can_say_that_the_machine_is_stopped(tmp_path: Path) -> None:
    """Where the host has no other word for its state."""

    def say(m: Machine) -> list[Any]:
        line = "The print has begun." if m.n < 50 else "Layer two, all is well."
        return [{"tip": {"temp": round(m.nozzle.shown, 2)}, "line": line}]

    entries = entries_of(say)
    answers = answers_in([], ["has begun=up", "I put the heaters out (=halted"])
    draft = learn(entries, answers=answers)
    assert values(draft, entries, tmp_path)["host.state"] == "up"
    out = "I put the heaters out (a sensor is lost)."
    held = told(draft, entries, {"tip": {}, "line": out}, tmp_path)
    assert held["host.state"] == "halted"


def test_a_part_of_a_states_text_can_be_said_that_goes_on_counting(tmp_path: Path) -> None:
    """Also one that was not heard yet, in whatever case."""

    def say(m: Machine) -> list[Any]:
        return [{"tip": {"temp": round(m.nozzle.shown, 2)}, "line": f"vorn/{m.n // 9}"}]

    entries = entries_of(say)
    draft = learn(entries, answers=answers_in(["line=host.state"], ["vorn=up", "skrell=halted"]))
    assert draft.words == {}
    assert values(draft, entries, tmp_path)["host.state"] == "up"
    assert ended(draft, entries, {"line": "vorn/77"}, tmp_path)["host.state"] == "up"
    held = ended(draft, entries, {"tip": {}, "line": "Skrell E17"}, tmp_path)
    assert held["host.state"] == "halted"
    assert held["host.said"] == "Skrell E17"
    for word in ("not vorn/7", "vorn, but skrell", "other"):
        last = ended(draft, entries, {"line": word}, tmp_path)
        assert last["host.state"] != "up"


def test_a_phrase_for_a_stop_that_comes_where_the_state_stands_is_understood(
    tmp_path: Path,
) -> None:
    """And for as long as it stands there."""

    def say(m: Machine) -> list[Any]:
        return [{"tip": {"temp": round(m.nozzle.shown, 2)}, "text": "making parts"}]

    entries = entries_of(say)
    draft = learn(entries, answers=answers_in([], ["making parts=up", "MELT ZONE=halted"]))
    later = {"tip": {"temp": 209.0}, "text": "MELT ZONE SAFETY: heater dropped"}
    assert ended(draft, entries, later, tmp_path)["host.state"] == "halted"


def test_a_clock_of_seconds_without_a_name_is_known_by_its_exactness() -> None:
    """A bed keeps no such line."""

    def say(m: Machine) -> list[Any]:
        late = abs(m.chance.gauss(0.0, 0.004))
        return [[{"tip": {"temp": round(m.nozzle.shown, 2)}}, round(m.up_s - late - SINCE_S, 3)]]

    clock = list(learn(entries_of(say)).clocks.values())
    assert [found.unit for found in clock] == ["s"]


def test_short_names_beside_x_and_y_are_no_axes(tmp_path: Path) -> None:
    """One object of letters alone, in tenths of a degree."""

    def say(m: Machine) -> list[Any]:
        (_, a), (_, b) = heaters(m)
        heat = {"n": round(10 * a.shown), "N": round(10 * a.goal), "p": round(255 * a.power)}
        heat |= {"b": round(10 * b.shown), "B": round(10 * b.goal), "q": round(255 * b.power)}
        way = {"x": round(100 * m.x), "y": round(100 * m.y), "z": 40}
        return [{**heat, **way, "v": 2400 + m.n % 7, "u": 10 + m.n % 5, "l": m.n // 40}]

    entries = entries_of(say)
    held = values(learn(entries), entries, tmp_path)
    assert held["nozzle.target_c"] == 210.0
    assert held["nozzle.power"] == 1.0
    assert not any(key.startswith(("x.", "y.")) for key in held)


def test_of_several_fans_the_one_on_the_part_is_the_fan(tmp_path: Path) -> None:
    """Heat's balance takes it from there; the others keep their names."""

    def say(m: Machine) -> list[Any]:
        blown = {"sink": 255, "part": 128, "case": 40}
        return [{"tip": {"temp": round(m.nozzle.shown, 2)}, "blowers": blown}]

    entries = entries_of(say)
    held = values(learn(entries), entries, tmp_path)
    assert held["fan.speed"] == pytest.approx(128 / 255)
    assert held["fan blowers sink.speed"] == 1.0


def test_a_unit_is_of_what_its_name_begins_with(tmp_path: Path) -> None:
    """And not of the one number beside it, which says its own."""

    def say(m: Machine) -> list[Any]:
        at = [round(m.x / 10.0, 3), round(m.y / 10.0, 3), 0.04]
        rest = {"sitio": at, "sitio_en": "cm", "hilo_mm_min": 112.5}
        return [{"tip": {"temp": round(m.nozzle.shown, 2)}, **rest}]

    entries = entries_of(say)
    calls = [f"sitio/{n}=motion.{axis}_mm" for n, axis in enumerate("xyz")]
    calls += ["hilo_mm_min=motion.feed_mm_s"]
    held = values(learn(entries, answers=answers_in(calls, [])), entries, tmp_path)
    assert held["motion.z_mm"] == pytest.approx(0.4)
    assert held["motion.feed_mm_s"] == pytest.approx(1.875)


def test_a_word_for_no_target_is_that_of_all_heaters(tmp_path: Path) -> None:
    """One was hot for as long as was listened."""

    def say(m: Machine) -> list[Any]:
        aims = "pois" if m.n < 40 else "210.0", "60.0"
        parts = zip(("tip", "pad"), heaters(m), aims, strict=True)
        return [{name: {"temp": round(h.shown, 2), "goal": aim} for name, (_, h), aim in parts}]

    entries = entries_of(say)
    draft = learn(entries)
    cold = {"tip": {"temp": 208.0, "goal": "pois"}, "pad": {"temp": 58.0, "goal": "pois"}}
    held = ended(draft, entries, cold, tmp_path)
    assert [value for key, value in held.items() if key.endswith("target_c")] == [0.0, 0.0]


def test_a_topic_may_be_a_list_of_names(tmp_path: Path) -> None:
    """One value a message, under two names."""

    def say(m: Machine) -> list[Any]:
        now = [("tip", "is", round(m.nozzle.shown, 2)), ("tip", "aim", m.nozzle.goal)]
        now += [("tip", "push", round(m.nozzle.power, 3)), ("pad", "is", round(m.bed.shown, 2))]
        now += [("pad", "aim", m.bed.goal), ("pad", "push", round(m.bed.power, 3))]
        return [{"about": [thing, what], "fact": value} for thing, what, value in now]

    entries = entries_of(say)
    draft = learn(entries)
    assert draft.sources[0].under == (("about", "0"), ("about", "1"))
    held = values(draft, entries, tmp_path)
    assert held["nozzle.target_c"] == 210.0
    assert held["nozzle.power"] == 1.0


def test_two_names_are_found_where_only_readings_move(tmp_path: Path) -> None:
    """A host that sends changes alone, heard while all is heated: targets come once."""
    said: dict[tuple[str, str], float] = {}

    def say(m: Machine) -> list[Any]:
        now: dict[tuple[str, str], float] = {}
        for name, h in (("head", m.nozzle), ("slab", m.bed)):
            now |= {(name, "sense"): round(h.shown + 273.15, 2), (name, "gate"): 255.0}
            now |= {(name, "aim"): h.goal + 273.15}
        news = [key for key in now if said.get(key) != now[key]]
        said.update(now)
        return [{"who": who, "what": what, "is": now[who, what]} for who, what in news]

    draft = learn(entries_of(say))
    assert draft.sources[0].under == (("who",), ("what",))
    assert places(draft)["nozzle.target_c"] == "head/aim"


def test_a_clock_that_several_messages_of_one_scan_share_is_found() -> None:
    """They come one after the other."""

    def say(m: Machine) -> list[Any]:
        at = round(m.up_s - SINCE_S, 3)
        parts = [{"tip": round(m.nozzle.shown, 2)}, {"pad": round(m.bed.shown, 2)}, {"x": m.x}]
        return [{"t": at, "what": part} for part in parts]

    assert [clock.unit for clock in learn(entries_of(say)).clocks.values()] == ["s"]


def test_a_clock_that_goes_on_by_a_scan_at_a_time_is_found() -> None:
    """Its steps are as long as the controller's scans."""

    def say(m: Machine) -> list[Any]:
        # What it says is of its latest scan: just over, or nearly the next.
        at = round((m.up_s - SINCE_S) // 0.06 * 0.06, 2)
        parts = [{"tip": round(m.nozzle.shown, 2)}, {"pad": round(m.bed.shown, 2)}, {"x": m.x}]
        return [{"t": at, "what": part} for part in parts]

    assert [clock.unit for clock in learn(entries_of(say)).clocks.values()] == ["s"]


def test_what_is_told_in_watts_in_a_cell_beside_is_no_share(tmp_path: Path) -> None:
    """Seventy of them are no 70 %."""

    def say(m: Machine) -> list[Any]:
        power = {"waarde": round(70.0 * m.nozzle.power, 2), "eenheid": "W"}
        heat = {"waarde": round(m.nozzle.shown, 2), "eenheid": "C"}
        aim = {"waarde": m.nozzle.goal, "eenheid": "C"}
        return [{"tip": {"temp": heat, "target": aim, "power": power}}]

    entries = entries_of(say)
    held = values(learn(entries), entries, tmp_path)
    assert held["nozzle.target_c"] == 210.0
    assert not any(key.endswith("power") for key in held)


def test_a_limit_is_no_target_while_no_power_drives_to_it() -> None:
    """In the first seconds nothing has slowed down yet."""

    def say(m: Machine) -> list[Any]:
        tip = {"reading": round(m.nozzle.shown, 2), "roof": 300.0, "power": m.nozzle.power}
        return [{"tip": tip}]

    assert set(places(learn(entries_of(say, steps=60)))) == {"tip.temperature_c", "tip.power"}


def test_what_no_sensor_can_read_is_none() -> None:
    """Named as a temperature, and beyond the curve in the unit of the others."""

    def say(m: Machine) -> list[Any]:
        chip = {"temp": 5_000 + m.n % 7}
        return [{"tip": {"temp": round(m.nozzle.shown, 2), "target": m.nozzle.goal}, "chip": chip}]

    assert set(places(learn(entries_of(say)))) == {"nozzle.temperature_c", "nozzle.target_c"}


def test_units_come_from_what_is_sure_and_not_from_what_stands_beside(tmp_path: Path) -> None:
    """Millivolts of a supply look like a cool channel in thousandths of a kelvin."""

    def say(m: Machine) -> list[Any]:
        (_, a), (_, b) = heaters(m)
        rows = {"a.m": a.shown + 273.15, "a.s": a.goal + 273.15, "b.m": b.shown + 273.15}
        rows |= {"b.s": b.goal + 273.15, "c.m": m.chamber.shown + 273.15}
        rows |= {"v.m": 23.9 + m.chance.gauss(0.0, 0.05)}
        return [{"seen": [[name, round(1000 * value)] for name, value in rows.items()]}]

    entries = entries_of(say)
    held = values(learn(entries), entries, tmp_path)
    assert held["nozzle.target_c"] == pytest.approx(210.0)
    assert not any(float(v) < 0.0 for k, v in held.items() if k.endswith("temperature_c"))


def test_the_second_name_of_a_topic_counts_though_few_numbers_go_to_and_fro(tmp_path: Path) -> None:
    """Most things have one quantity; only the nozzle and the bed have three."""

    def say(m: Machine) -> list[Any]:
        now = [("tip", "is", m.nozzle.shown), ("tip", "aim", m.nozzle.goal)]
        now += [("pad", "is", m.bed.shown), ("pad", "aim", m.bed.goal)]
        now += [(f"case {n}", "is", 24.0 + n + m.n % 3 / 10) for n in range(6)]
        return [{"about": [thing, what], "fact": round(value, 2)} for thing, what, value in now]

    entries = entries_of(say)
    draft = learn(entries)
    assert draft.sources[0].under == (("about", "0"), ("about", "1"))
    assert values(draft, entries, tmp_path)["nozzle.target_c"] == 210.0


def test_a_small_clock_without_a_name_is_told_from_a_bed_by_its_exactness() -> None:
    """Some hundred seconds may be degrees as well."""

    def say(m: Machine) -> list[Any]:
        late = abs(m.chance.gauss(0.0, 0.004))
        body = {"tip": {"temp": round(m.nozzle.shown, 2)}, "k": round(m.up_s - 700.0 - late, 3)}
        return [body]

    assert [clock.unit for clock in learn(entries_of(say)).clocks.values()] == ["s"]


def test_a_word_in_the_place_of_a_target_means_off(tmp_path: Path) -> None:
    """Where an object with number and unit stands else."""

    def say(m: Machine) -> list[Any]:
        aim = {"valore": m.nozzle.goal + 273.15, "unita": "K"} if m.nozzle.goal else "spento"
        tip = {"temp": {"valore": round(m.nozzle.shown + 273.15, 2), "unita": "K"}, "aim": aim}
        return [{"tip": tip}]

    entries = entries_of(say)
    draft = learn(entries)
    held = values(draft, entries, tmp_path)
    assert held["nozzle.target_c"] == pytest.approx(210.0)
    cold = {"tip": {"temp": {"valore": 300.0, "unita": "K"}, "aim": "spento"}}
    later = Entry(990.0, EntryKind.MESSAGE, json.dumps(cold).encode())
    assert values(draft, [*entries, later], tmp_path)["nozzle.target_c"] == 0.0


def test_a_mean_is_no_target() -> None:
    """Each channel is near its own."""

    def say(m: Machine) -> list[Any]:
        hood = round(23.7 + m.n % 5 / 50, 2)
        return [{"tip": {"temp": round(m.nozzle.shown, 2)}, "hood": {"temp": hood, "mean": 23.7}}]

    assert not any(key.endswith("target_c") for key in places(learn(entries_of(say))))


def test_volts_and_seconds_are_no_sensor_and_its_code() -> None:
    """Any curve goes through what hardly moves: one number chances to be the code that 15 bits and
    4.02 times R0 have at as many degrees (IEC 60751)."""

    def say(m: Machine) -> list[Any]:
        tip = [round(m.nozzle.shown, 2), m.nozzle.goal, round(m.nozzle.power, 3)]
        volts = round(24.0 + m.chance.gauss(0.0, 0.05), 2)
        rest = [volts, 8907 + m.n * 7 % 9, 0.2 + m.n % 4 / 100]
        return [{"row": [*tip, *rest, m.n // 40]}]

    draft = learn(entries_of(say))
    assert [c.path for c in draft.channels if "temperature_c" in c.parts] == ["row/0"]
