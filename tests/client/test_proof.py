"""What a proof says of a profile, against SciPy and against a host that is known."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from client.form import Channel, Profile, UpdateSource
from client.proof import Proof, line_slope
from shared.updates import Entry, EntryKind
from tui.profilecheck import check_lines

PROFILE = Profile(
    format=1,
    updates=(UpdateSource(status="/s", clock="/t"),),
    channels={"nozzle": Channel(temperature_c="/temp", target_c="/goal", power="/duty")},
)


def entry(own_s: float, **message: object) -> Entry:
    return Entry(own_s, EntryKind.MESSAGE, json.dumps(message).encode())


def test_it_says_which_readings_gave_values() -> None:
    """One gave ten, one was refused each time, one never came."""
    proof = Proof(PROFILE)
    for n in range(10):
        proof.feed(entry(50.0 + n, t=n, s={"temp": 20.0 + n, "goal": "hot"}))
    temperature, target, power = proof.readings()
    assert (temperature.key, temperature.count, temperature.last) == (
        "nozzle.temperature_c",
        10,
        29.0,
    )
    assert (target.count, target.refused) == (0, 10)
    assert (power.count, power.refused) == (0, 0)
    assert (proof.messages, proof.updates) == (10, 10)


def test_delay_is_what_lies_beyond_the_quickest() -> None:
    """Each fourth update comes 0.4 s late, the others 0.1 s after they were made."""
    proof = Proof(PROFILE)
    for n in range(40):
        proof.feed(entry(50.0 + n + (0.4 if n % 4 == 3 else 0.1), t=float(n), s={"temp": 20.0}))
    time = proof.time()
    assert time.delay_median_s == pytest.approx(0.0, abs=1e-9)
    assert time.delay_99_s == pytest.approx(0.3)
    assert time.jumps == 0
    assert time.slope == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("is_told", [True, False])
def test_it_says_whether_the_clock_was_ever_told(is_told: bool) -> None:
    """A pointer that leads nowhere leaves arrival times, which keep our pace by themselves."""
    proof = Proof(PROFILE)
    for n in range(40):
        moment = {"t": float(n)} if is_told else {}
        proof.feed(entry(50.0 + n, s={"temp": 20.0}, **moment))
    assert proof.time().was_told is is_told
    assert any("nothing ever stood there" in line for line in check_lines(proof)) is not is_told


@given(st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=30, unique=True))
def test_the_line_is_that_of_scipy(x: list[float]) -> None:
    """scipy.stats.theilslopes is the oracle, here with an outlier."""
    xs = np.sort(np.array(x))
    ys = 3.0 * xs + 1.0
    ys[0] += 1e4
    if np.diff(xs).min() < 1e-6:
        return
    assert line_slope(xs, ys) == pytest.approx(theilslopes(ys, xs)[0], rel=1e-9)


def test_a_line_needs_three_points() -> None:
    """And some spread."""
    assert line_slope(np.array([1.0, 2.0]), np.array([1.0, 2.0])) is None
    assert line_slope(np.ones(5), np.arange(5.0)) is None


@pytest.mark.parametrize("ahead_s", [-7200.0, -2.5, 0.0, 40.0])
def test_it_says_how_the_hosts_wall_clock_stands_to_ours(ahead_s: float) -> None:
    """The quickest way took 20 ms, which cannot be told from the clocks' difference."""
    proof = Proof(PROFILE)
    wall_less_own_s = 1.79e9
    for n in range(40):
        made_s = 50.0 + n
        late_s = 0.02 if n % 4 else 0.3
        said = wall_less_own_s + made_s + ahead_s
        proof.feed(entry(made_s + late_s, t=said, s={"temp": 20.0}))
    found = proof.time(wall_less_own_s).ahead_s
    assert found == pytest.approx(ahead_s - 0.02, abs=1e-3)
    assert proof.time().ahead_s is None


def test_a_clock_that_counts_from_a_start_is_no_wall_clock() -> None:
    """Nothing is said of it."""
    proof = Proof(PROFILE)
    for n in range(10):
        proof.feed(entry(50.0 + n, t=float(n), s={"temp": 20.0}))
    assert proof.time(1.79e9).ahead_s is None
