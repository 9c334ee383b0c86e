"""Every scenario, seen from outside: its fault shows in the readings and in the truth."""

from collections.abc import Callable, Iterator
from functools import cache

import numpy as np
import pytest

from client.simulated.machine import Truth
from client.simulated.plain import moments, updates
from client.simulated.rhythm import PERIOD_S
from client.simulated.scenario import load_scenario, scenario_names
from shared.updates import Update, Value
from shared.words import QUANTITIES, is_number_key, quantity_of
from tests import scenario_logs

LONG = {"healthy-night": 900.0, "terminal-repaired": 900.0}
"""Scenarios that are looked at for a while only, s."""
PARTS_C = 1.5
"""How far a healthy chain's parts may put a reading off, within their tolerance."""
Row = tuple[dict[str, Value], Truth]


@cache
def rows(name: str, seed: int = 0) -> list[Row]:
    """What holds after each update, and the truth beside it."""
    held: dict[str, Value] = {}
    found = []
    for moment, update in scenario_logs.moments(name, seed, LONG.get(name)):
        if update is not None and update.values:
            held = {**held, **update.values}
            found.append((held, moment.truth))
    return found


def off_c(row: Row, channel: str = "nozzle") -> float:
    """Reading against truth, °C."""
    held, truth = row
    return float(held[f"{channel}.temperature_c"]) - truth.element_c[channel]


def settled(name: str) -> Iterator[Row]:
    return (row for row in rows(name) if "nozzle.temperature_c" in row[0])


@pytest.mark.parametrize("name", scenario_names())
def test_faults_show_in_the_truth_within_a_quarter_of_an_hour(name: str) -> None:
    """Faulty scenarios log when their faults act; healthy ones log none."""
    scenario = load_scenario(name)
    if scenario.faults:
        made = scenario_logs.moments(name, 0, LONG.get(name))
        first = next(moment.truth for moment, _ in made if moment.truth.faults)
        assert first.time_s < 900.0
        return
    assert not any(truth.faults for _, truth in rows(name))
    wrong = scenario.channels.nozzle.believed
    assert scenario.expect.healthy or wrong


@pytest.mark.parametrize("name", [n for n in scenario_names() if load_scenario(n).expect.healthy])
def test_healthy_readings_are_true_within_their_parts(name: str) -> None:
    """No reading of a healthy machine is off by more than tolerances allow, and no flag."""
    for row in settled(name):
        for channel in ("nozzle", "bed", "chamber"):
            assert abs(off_c(row, channel)) < PARTS_C
        assert row[0]["nozzle.flags"] == "none"
        assert row[0]["host.state"] == "up"


def _states(name: str) -> list[str]:
    return [str(held["host.state"]) for held, _ in rows(name)]


def _wave_s(name: str) -> float:
    """Period of the strongest wave in the error of the reading at rest, s."""
    error = [off_c(row) for row in settled(name) if 130.0 < row[1].time_s < 400.0]
    spectrum = np.abs(np.fft.rfft(np.array(error) - np.mean(error)))
    return PERIOD_S * len(error) / int(np.argmax(spectrum))


CHECKS: dict[str, Callable[[str], object]] = {
    "loose-terminal": lambda n: any(off_c(row) > 5.0 for row in settled(n)),
    "contact-reads-low": lambda n: (
        min(off_c(row) for row in settled(n) if float(row[0]["nozzle.code"]) > 80) < -5.0
        and max(off_c(row) for row in settled(n)) < 5.0
        and {"open;short", "none"} <= {str(held["nozzle.flags"]) for held, _ in settled(n)}
    ),
    "wrong-element": lambda n: all(
        float(held["nozzle.code"]) == pytest.approx(109.0 / 4020.0 * 65536, rel=0.02)
        for held, _ in settled(n)
    ),
    "terminal-repaired": lambda n: any(off_c(row) > 5.0 for row in settled(n)),
    "lead-breaks-at-position": lambda n: (
        {
            float(held["motion.x_mm"]) > 150.0
            for held, truth in rows(n)
            if held["nozzle.flags"] == "open" and truth.faults
        }
        == {True}
    ),
    "pickup-small-filter": lambda n: (
        min(off_c(row) for row in settled(n)) < -5.0 < 5.0 < max(off_c(row) for row in settled(n))
        and all(
            float(held["motion.speed_mm_s"]) > 0.0
            for held, truth in rows(n)
            if "pickup nozzle" in truth.faults and abs(off_c((held, truth))) > 5.0
        )
    ),
    "flying-bus-wires": lambda n: (
        {0.0, 65535.0} < {float(held["nozzle.code"]) for held, _ in rows(n)}
        and all(abs(off_c(row, "bed")) < PARTS_C for row in settled(n))
    ),
    "open-from-start": lambda n: (
        float(next(settled(n))[0]["nozzle.code"]) == 65535.0 and _states(n)[-1] == "halted"
    ),
    "short": lambda n: float(rows(n)[-1][0]["nozzle.code"]) < 80 and _states(n)[-1] == "halted",
    "wrong-wire-count": lambda n: all(5.0 < off_c(row) < 9.0 for row in settled(n)),
    "wrong-reference": lambda n: (
        -21.0 < off_c(rows(n)[0]) < -18.0 and min(off_c(row) for row in settled(n)) < -34.0
    ),
    "frozen-reading": lambda n: (
        len({held["nozzle.code"] for held, truth in rows(n) if truth.time_s > 241.0}) == 1
    ),
    "heater-stops": lambda n: any(
        float(held["nozzle.power"]) == 1.0 and truth.element_c["nozzle"] < 160.0
        for held, truth in rows(n)
    ),
    "sensor-slips": lambda n: (
        rows(n)[-1][1].block_c["nozzle"] - rows(n)[-1][1].element_c["nozzle"] > 25.0
    ),
    "supply-dip": lambda n: any(
        off_c(row, "nozzle") < -4.0 and off_c(row, "bed") < -2.5 for row in settled(n)
    ),
    "mains-hum": lambda n: (
        (off := [off_c(row) for row in settled(n) if row[1].time_s > 130.0])
        and 0.5 < max(off) - min(off) < 3.0
        and _wave_s(n) == pytest.approx(16.7, abs=0.5)
    ),
    "link-drops": lambda n: _states(n).count("gone") >= 3,
    "host-halt": lambda n: _states(n)[-1] == "halted",
    "settling-after-restart": lambda n: (
        any(off_c(row) > 300.0 for row in settled(n)) and abs(off_c(rows(n)[-1])) < PARTS_C
    ),
}


@pytest.mark.parametrize(
    "name", [n for n in scenario_names() if not load_scenario(n).expect.healthy]
)
def test_the_readings_show_what_the_scenario_promises(name: str) -> None:
    """Each fault leaves its own mark on what the host sends."""
    assert CHECKS[name](name)


@pytest.mark.parametrize("seed", range(8))
def test_the_demo_shows_its_fault_soon_whatever_the_seed(seed: int) -> None:
    """Healthy for 10 s, broken within 25 s."""
    scenario = load_scenario("loose-terminal")
    first = next(m.truth.time_s for m, _ in moments(scenario, seed) if m.truth.faults)
    assert 9.9 < first < 25.0


def test_updates_are_in_order_and_in_our_words() -> None:
    """Times never fall; keys are quantities of the plain log, numbers under number keys."""
    last_s = -1.0
    for update in updates(load_scenario("link-drops"), 1):
        assert update.time_s >= last_s
        last_s = update.time_s
        for key, value in update.values.items():
            assert quantity_of(key) in QUANTITIES
            assert isinstance(value, float) is is_number_key(key)


def test_after_a_dropped_link_the_whole_status_comes_again() -> None:
    """As a client that connects anew is given it."""
    found = [update for update in updates(load_scenario("link-drops"), 0, 100.0) if update.values]
    gone = next(i for i, update in enumerate(found) if update.values.get("host.state") == "gone")
    assert set(found[gone].values) == {"host.state"}
    assert set(found[gone + 1].values) == set(found[0].values)


def test_silence_is_marked_each_second() -> None:
    """While the host stalls, updates without values say that time passes."""
    found = list(updates(load_scenario("host-halt"), 0, 110.0))
    ticks = [update for update in found if not update.values]
    assert len([tick for tick in ticks if 101.0 < tick.time_s < 108.5]) >= 4


def test_the_first_seconds_do_not_depend_on_how_long_it_runs() -> None:
    """A longer run begins with the shorter one."""
    scenario = load_scenario("pickup-small-filter")
    short: list[Update] = list(updates(scenario, 5, 60.0))
    assert list(updates(scenario, 5, 90.0))[: len(short)] == short


@pytest.mark.slow
def test_a_whole_night_stays_true() -> None:
    """Twelve hours without a reading that is off."""
    for moment, update in moments(load_scenario("healthy-night")):
        if update is not None and "nozzle.temperature_c" in update.values:
            true = moment.truth.element_c["nozzle"]
            assert abs(float(update.values["nozzle.temperature_c"]) - true) < PARTS_C
        assert not moment.truth.faults
