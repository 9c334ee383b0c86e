"""What is a channel shows in how numbers go; what was seen once is not lost by listening on."""

import itertools
import json
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from client.learn import Draft, TextLink, learn, profile_text
from client.learn.found import Proposal
from client.learn.series import Series, follows, is_continuous
from client.mapping import Mapper
from client.profile import load_profile
from shared.updates import Entry, EntryKind
from tests.client.learn.odd import nameless, numbers, untold
from tests.client.learn.odd.host import OddHost
from tests.client.learn.odd.machine import STEP_S, Machine

pytestmark = pytest.mark.long


def cycling(machine: Machine, n: int) -> None:
    """Heats, holds, is switched off, and on again: what a longer listening hears."""
    phase = n % 400
    hot = 12 <= phase < 280
    machine.nozzle.goal, machine.bed.goal = (210.0, 60.0) if hot else (0.0, 0.0)


def heard(host: OddHost, steps: int) -> list[Entry]:
    machine, entries = Machine("heating"), list[Entry]()
    machine.bed.goal = 0.0
    machine.bed.at = machine.bed.shown = 23.0
    for n in range(steps):
        cycling(machine, n)
        machine.step()
        entries += [
            Entry(9.0 + n * STEP_S, EntryKind.MESSAGE, json.dumps(each).encode())
            for each in host.say(machine)
        ]
    return entries


def sensors(draft: Draft) -> list[Proposal]:
    return [channel for channel in draft.channels if "temperature_c" in channel.parts]


UNTOLD = (
    nameless.columns_of_hundredths,
    nameless.kelvin_by_place,
    nameless.fahrenheit_by_number,
    nameless.letters_and_numbers,
    nameless.units_in_cells,
    untold.numbered_pairs,
    numbers.kelvin_unnamed,
)


@pytest.mark.parametrize("make", UNTOLD, ids=lambda make: make.__name__)
def test_listening_longer_loses_no_channel_and_invents_none(make: Callable[[], OddHost]) -> None:
    """Through heating, holding, cooling and heating again, with what goes with each of them."""
    found = []
    for steps in (60, 90, 140, 200, 300, 420, 560):
        parts = {
            (channel.path, quantity, part.series.place)
            for channel in sensors(learn(heard(make(), steps)))
            for quantity, part in channel.parts.items()
        }
        found.append(parts)
    for shorter, longer in itertools.pairwise(found):
        assert shorter <= longer
    paths = [{path for path, *_ in parts} for parts in found]
    assert paths[0] == paths[-1]


@pytest.mark.parametrize("make", UNTOLD, ids=lambda make: make.__name__)
@pytest.mark.parametrize("begin_s", [4.0, 9.0, 25.0, 60.0, 75.0])
@pytest.mark.parametrize("long_s", [12.0, 20.0])
def test_whenever_one_begins_to_listen_nothing_is_invented(
    make: Callable[[], OddHost], begin_s: float, long_s: float
) -> None:
    """While it heats, holds or cools: a channel may be missing, and none is wrong."""
    entries = heard(make(), 420)
    start_s = entries[0].own_s + begin_s
    part = [one for one in entries if start_s <= one.own_s < start_s + long_s]
    right = {channel.path for channel in sensors(learn(entries))}
    assert {channel.path for channel in sensors(learn(part))} <= right


def series(values: list[float], name: str = "a") -> Series:
    return Series((name,), [STEP_S * n for n in range(len(values))], list(values))


def heating(n: int = 200, begin: int = 20, goal: float = 200.0) -> list[float]:
    """First order with a controller that saturates, noise of 0.05."""
    rng, at, shown = random.Random(n), 22.0, []
    for step in range(n):
        power = min(max((goal - at) / 20.0 + 0.5, 0.0), 1.0) if step >= begin else 0.0
        at += STEP_S * (8.0 * power - (at - 22.0) / 60.0)
        shown.append(at + rng.gauss(0.0, 0.05))
    return shown


@pytest.mark.parametrize("scale", [1.0, 1.8, 10.0, 100.0])
@pytest.mark.parametrize("steps", [60, 120, 200, 400])
def test_a_reading_follows_its_setting_and_nothing_that_it_passes(scale: float, steps: int) -> None:
    """In any unit, while it comes nearer and once it stands there."""
    reading = series([scale * value for value in heating(steps)])
    setting = series([0.0] * 20 + [200.0 * scale] * (steps - 20), "b")
    assert follows(reading, setting) > 0.5
    passed = scale * (reading.numbers[-1] / scale - 40.0)
    number = series([0.0] * 20 + [passed] * (steps - 20), "c")
    assert follows(reading, number) == 0.0


@pytest.mark.parametrize("top", [1.0, 100.0, 255.0, 1000.0])
def test_a_power_jumps_and_heat_does_not(top: float) -> None:
    power = [0.0] * 20 + [top] * 60 + [top * 0.4 + 0.01 * top * (n % 7) for n in range(60)]
    assert not is_continuous(series(power))
    assert is_continuous(series(heating()))


def test_spikes_of_a_fault_make_no_jump() -> None:
    """A leap that comes and goes is not the reading's own way."""
    values = heating()
    values[::37] = [850.0] * len(values[::37])
    assert is_continuous(series(values))


def profile_of(messages: list[Any], folder: Path) -> tuple[str, Mapper]:
    entries = [
        Entry(9.0 + n * STEP_S, EntryKind.MESSAGE, json.dumps(each).encode())
        for n, each in enumerate(messages)
    ]
    path = folder / "p.toml"
    path.write_text(profile_text(learn(entries), TextLink(addresses=("tcp://[::1]:9",))), "utf-8")
    return path.read_text("utf-8"), Mapper(load_profile(path))


@pytest.mark.parametrize("off", [None, 0])
def test_a_way_to_say_off_is_known_before_it_is_heard(off: object, tmp_path: Path) -> None:
    """Targets and powers of all channels, though all was on while it was listened to."""
    shown = heating(120, 0)
    messages = [
        {
            name: {
                "temp": round(t + 273.15, 2),
                "target": 473.15,
                "power": round(0.4 + n % 7 / 50, 3),
            }
            for name in ("nozzle", "bed")
        }
        for n, t in enumerate(shown)
    ]
    _, mapper = profile_of(messages, tmp_path)
    body = {name: {"target": off, "power": off} for name in ("nozzle", "bed")}
    mapper.feed(Entry(50.0, EntryKind.MESSAGE, json.dumps(messages[0]).encode()))
    (update,) = mapper.feed(Entry(51.0, EntryKind.MESSAGE, json.dumps(body).encode()))
    names = [f"{name}.{each}" for name in ("nozzle", "bed") for each in ("target_c", "power")]
    assert update.values == dict.fromkeys(names, 0.0)


def test_ids_stay_as_the_host_says_them_and_every_line_says_why(tmp_path: Path) -> None:
    text, _ = profile_of(
        [
            {
                "all": [
                    {"uid": uid, "val": f"{t + more:.2f} C"} for uid, more in (("C2", 0), ("C7", 9))
                ]
            }
            for t in heating(120, 0)
        ],
        tmp_path,
    )
    assert "[channels.C2]" in text
    assert "[channels.C7]" in text
    assert not any(line.rstrip().endswith("#") for line in text.splitlines())


def test_what_does_not_read_back_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """A draft that leads nowhere is no draft: what it found is listed as not proven."""
    from client.learn.naming import named_groups as named

    def astray(*found: Any) -> list[Proposal]:
        channels = named(*found)
        for channel in channels:
            if channel.name == "bed":
                channel.parts["temperature_c"].series.place = ("nowhere",)
        return channels

    monkeypatch.setattr("client.learn.channels.named_groups", astray)
    draft = learn(
        [
            Entry(
                n * STEP_S,
                EntryKind.MESSAGE,
                json.dumps({"nozzle temp": t, "bed temp": t}).encode(),
            )
            for n, t in enumerate(heating(60, 0))
        ]
    )
    assert [channel.name for channel in draft.channels] == ["nozzle"]
    assert draft.unproven == ["bed.temperature_c"]
