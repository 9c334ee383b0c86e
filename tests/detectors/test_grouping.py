"""Results never depend on how samples were grouped."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from detectors.engine.watch import Watch
from shared.absent import absent_key
from shared.chain import EXAMPLE
from shared.updates import Update, Value, batch_of
from tests.detectors.logs import steady
from tests.levels import first

LINK_TELLINGS = (
    "lost closed: bye",
    "tried refused: connection refused",
    "open",
    "answers",
    "held-up 4.2",
    "late 3.2",
    "dropped 12",
    "others 1 of 2",
)


def troubled_log(seed: int) -> list[Update]:
    """Two channels with breaks, steps, stillness, gaps, restarts, absences and odd moments."""
    rng, gone = np.random.default_rng(seed), np.random.default_rng(seed + 7)
    nozzle = steady(150.0, seed=seed)
    bed = steady(150.0, lambda t: 60.0 + 0.01 * t, seed=seed + 1, channel="bed", with_code=False)
    rows: list[Update] = []
    uptime = 500.0 if seed % 2 else 5.0
    still_at, joint_at = (int(rng.integers(250, 550)) for _ in range(2))
    excess = dict.fromkeys(("nozzle.code", "bed.temperature_c"), 0.0)
    until = dict.fromkeys(excess, 0)
    for index, (a, b) in enumerate(zip(nozzle, bed, strict=True)):
        values: dict[str, Value] = {**a.values}
        if index > 40:
            values.update(b.values)
        for _ in range(int(rng.integers(0, 2))):
            values.pop(list(values)[int(rng.integers(len(values)))], None)
        if rng.random() < 0.02:
            values["nozzle.code"] = float(rng.choice([65535, 0, 33000, 29268 ^ 1024]))
        for key in excess:
            if rng.random() < 0.01 or index == joint_at:
                excess[key] = float(rng.choice([-400.0, 90.0, 600.0])) * (key[0] == "n" or 0.05)
                until[key] = index + int(rng.integers(1, 60))
            number = values.get(key)
            if index < until[key] and isinstance(number, float):
                values[key] = number + excess[key]
        if still_at < index < still_at + 90:
            values.pop("nozzle.code", None)
        if rng.random() < 0.02:
            values["nozzle.flags"] = str(rng.choice(["none", "open", "open;short"]))
        if rng.random() < 0.02:
            values["host.link"] = str(rng.choice(LINK_TELLINGS))
        if rng.random() < 0.01:
            uptime = 0.0
        values["controller.uptime_s"] = uptime = uptime + 0.25
        values["motion.speed_mm_s"] = 80.0 if (index // 60) % 2 else 0.0
        if rng.random() < 0.01:
            values["host.state"] = str(rng.choice(["up", "halted", "starting"]))
        if rng.random() < 0.03:
            values = {"host.state": "gone"} if rng.random() < 0.5 else {}
        if gone.random() < 0.03 and values:
            key = str(gone.choice(list(values)))
            values[absent_key(key)] = str(gone.choice(["null", "n/a"]))
            values.pop(key, None)
            for _ in range(int(gone.integers(0, 2))):
                values.pop(str(gone.choice(list(values))), None)
        shift = 12.0 if index > 400 else 0.0
        rows.append(Update(a.time_s + shift, values))
    return rows


def resting_log(seed: int) -> list[Update]:
    """Two cold rests at different temperatures with a heat-up between, codes on one channel."""
    rng = np.random.default_rng(seed)

    def celsius(time_s: float) -> float:
        return 22.0 if time_s < 240.0 else 90.0 if time_s < 330.0 else 31.0

    nozzle = steady(600.0, celsius, seed=seed)
    bed = steady(600.0, celsius, seed=seed + 1, channel="bed", with_code=False)
    rows: list[Update] = []
    for a, b in zip(nozzle, bed, strict=True):
        heated = 240.0 <= a.time_s < 330.0
        both = {**a.values, **b.values}
        for name in ("nozzle", "bed"):
            both[f"{name}.target_c"] = 90.0 if heated else 0.0
            both[f"{name}.power"] = 0.3 if heated else 0.0
        if rng.random() < 0.1:
            both.pop("nozzle.code")
        rows.append(Update(a.time_s, both))
    return rows


def events_of(updates: list[Update], cuts: list[int]) -> tuple[list[str], Any]:
    watch = Watch({"nozzle": EXAMPLE})
    for start, stop in zip([0, *cuts], [*cuts, len(updates)], strict=True):
        watch.feed(batch_of(updates[start:stop]))
    watch.finish()
    # As text: a figure that could not be told is NaN, which equals nothing, and 1 is not 1.0.
    return list(map(repr, watch.events)), (watch.not_evaluated(), repr(watch.chain_states()))


@pytest.mark.parametrize("examples", first(1, [6, 40]))
def test_a_log_cut_at_random_places_gives_the_same_events(examples: int) -> None:
    """Whatever the batches, the events are equal to the last bit."""

    @settings(max_examples=examples, deadline=None)
    @given(
        seed=st.integers(0, 10_000),
        cuts=st.lists(st.integers(0, 600), max_size=30).map(sorted),
    )
    def holds(seed: int, cuts: list[int]) -> None:
        log = troubled_log(seed)
        assert events_of(log, cuts) == events_of(log, [])

    holds()


@pytest.mark.parametrize("examples", first(1, [2, 15]))
def test_what_the_chain_shows_does_not_depend_on_cuts(examples: int) -> None:
    """Noise and cold check are equal to the last bit, and there is something to compare."""

    @settings(max_examples=examples, deadline=None)
    @given(
        seed=st.integers(0, 10_000),
        cuts=st.lists(st.integers(0, 2400), max_size=30).map(sorted),
    )
    def holds(seed: int, cuts: list[int]) -> None:
        log = resting_log(seed)
        whole = events_of(log, [])
        assert events_of(log, cuts) == whole
        watch = Watch({"nozzle": EXAMPLE})
        for update in log:
            watch.feed(batch_of([update]))
        watch.finish()
        assert repr(watch.chain_states()) == whole[1][1]
        (state,) = watch.chain_states()
        assert state.noise.readings > 1000
        assert state.cold is not None
        assert len(state.rests_c) == 2

    holds()


def test_one_update_at_a_time_gives_the_same_events_as_one_block() -> None:
    """The live path on plain floats and the block path on arrays agree."""
    for seed in range(5):
        log = troubled_log(seed)
        singly, _ = events_of(log, list(range(1, len(log))))
        whole, _ = events_of(log, [])
        assert singly == whole
        assert len(whole) > 3
