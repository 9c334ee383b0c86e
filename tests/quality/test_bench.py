"""The bench itself counts right: intervals, calibration, scoring, outsiders."""

import math
from pathlib import Path

import numpy as np
import pytest

from detectors.diagnosis.table import CANDIDATES
from shared.circuit import FITTED
from shared.updates import Batch, Value
from shared.words import Cause, Kind
from tests.quality import outsiders
from tests.quality.calibration import (
    draw_diagram,
    expected_error,
    fitted_temperature,
    reliability,
)
from tests.quality.cases import faulty
from tests.quality.diagnosis import role_of
from tests.quality.draws import PLANS, draw
from tests.quality.hosts import HostStyle, reported, varied
from tests.quality.intervals import rate_interval, share_interval
from tests.quality.pool import shared_out
from tests.quality.work import Chosen, Task, done


def test_a_rate_has_the_published_interval() -> None:
    """137 in 24.19893: 4.753125–6.692709 (computed; the project's reference values)."""
    low, high = rate_interval(137, 24.19893)
    assert low == pytest.approx(4.753125, abs=1e-6)
    assert high == pytest.approx(6.692709, abs=1e-6)


def test_leads_are_told_by_their_roles() -> None:
    roles = [role_of(3, lead) for lead in FITTED[3]]
    assert roles == ["the pair's current lead", "the pair's sense lead", "the lone end"]
    assert [role_of(4, lead) for lead in FITTED[4]] == ["force +", "sense +", "sense −", "force −"]


@pytest.mark.parametrize(("trials", "bound"), [(30, 0.095034), (100, 0.029513), (300, 0.009936)])
def test_no_failure_in_n_trials_bounds_the_share(trials: int, bound: float) -> None:
    """One-sided 95 %: 1 − 0.05^(1/n) (computed; the rule of three, exactly)."""
    low, _ = share_interval(trials, trials, level=0.9)
    assert 1.0 - low == pytest.approx(bound, abs=1e-6)


def test_no_alarm_still_leaves_a_rate_possible() -> None:
    """Nothing seen in 1: −ln 0.025 = 3.689 at most (computed)."""
    low, high = rate_interval(0, 1.0)
    assert low == 0.0
    assert high == pytest.approx(-math.log(0.025))


def test_probabilities_that_come_true_as_often_as_said_have_no_error() -> None:
    """And those that are right less often have the difference."""
    said = [0.75] * 4 + [0.25] * 4
    fair = [True, True, True, False, True, False, False, False]
    assert expected_error(reliability(said, fair)) == pytest.approx(0.0)
    assert expected_error(reliability(said, [False] * 8)) == pytest.approx(0.5)


def test_a_known_temperature_is_found_again() -> None:
    """Truth drawn from sharpened odds: the fit gives the sharpening back."""
    rng = np.random.default_rng(7)
    raw, truth = [], []
    for _ in range(3000):
        logs = rng.normal(0.0, 0.6, len(CANDIDATES))
        blunt, sharp = np.exp(logs), np.exp(logs / 0.5)
        raw.append(dict(zip(CANDIDATES, (blunt / blunt.sum()).tolist(), strict=True)))
        truth.append(CANDIDATES[int(rng.choice(len(CANDIDATES), p=sharp / sharp.sum()))])
    assert fitted_temperature(raw, truth) == pytest.approx(0.5, abs=0.05)


def test_the_diagram_is_the_same_bytes_for_the_same_figures(tmp_path: Path) -> None:
    """A page that is made again changes only where its figures do."""
    bins = reliability([0.3, 0.8, 0.9], [False, True, True])
    draw_diagram(bins, tmp_path / "one.svg")
    draw_diagram(bins, tmp_path / "two.svg")
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


@pytest.mark.parametrize("cause", list(PLANS))
def test_a_draw_is_the_same_for_the_same_seed(cause: Cause | None) -> None:
    """And another for another."""
    assert draw(cause, 5) == draw(cause, 5)
    assert draw(cause, 5) != draw(cause, 6)


def test_a_host_that_sends_all_and_one_that_sends_changes_mean_the_same() -> None:
    """Held values are the same numbers at the same times."""
    scenario = varied("healthy-print", np.random.default_rng(3))
    whole, changes = (
        list(reported(scenario, 3, HostStyle(0.5, True, only, 2, 0.0), 40.0))
        for only in (False, True)
    )
    held: dict[str, Value] = {}
    for one, other in zip(whole, changes, strict=True):
        held.update(other.values)
        assert one.time_s == other.time_s
        if one.values:
            assert one.values == held


def test_a_clock_that_jumps_leaves_the_log_in_order() -> None:
    """Straightened as the client does: never falling, and about as long as it took."""
    scenario = varied("healthy-print", np.random.default_rng(3))
    times = [u.time_s for u in reported(scenario, 3, HostStyle(0.25, True, True, 2, 4000.0), 60.0)]
    assert times == sorted(times)
    assert times[-1] - times[0] == pytest.approx(60.0, abs=3.0)


def test_the_number_of_workers_changes_no_result() -> None:
    """Results come in the order of their tasks."""
    tasks = list(range(20))
    assert list(shared_out(math.sqrt, tasks, 2, "")) == list(shared_out(math.sqrt, tasks, 1, ""))


def test_alarms_near_each_other_are_one() -> None:
    """Within a minute, as for ours."""
    series = outsiders.Series(np.arange(0.0, 300.0), np.zeros(300))
    flags = np.isin(series.time_s, [10.0, 50.0, 200.0])
    assert outsiders.alarms(series, flags) == [(10.0, 50.0), (200.0, 200.0)]


@pytest.mark.slow
def test_ours_and_outsiders_are_scored_by_one_rule() -> None:
    """A spike of many kelvins is found by all that look for spikes."""
    if outsiders.missing():
        pytest.skip(f"not installed: {', '.join(outsiders.missing())}")
    chosen: Chosen = {each.name: (each.default,) for each in outsiders.OUTSIDERS}
    result = done(Task("code-high", 4, 2, outside=chosen))
    found = {name: tally.found for (name, _), tally in result.any_kind.items()}
    assert result.score.found == 2
    assert found["ohmvigil"] == found["QARTOD spike (ioos-qc)"] == 2
    assert found["QARTOD flat line (ioos-qc)"] == 0


def test_delta_updates_are_held_for_the_outsiders() -> None:
    """Rows before the first reading are left out; gaps hold the last one."""
    nan = math.nan
    batch = Batch(np.arange(5.0), {"a.temperature_c": np.array([nan, 20.0, nan, 21.0, nan])})
    series = outsiders.series_of(batch)["a"]
    assert series.time_s.tolist() == [1.0, 2.0, 3.0, 4.0]
    assert series.celsius.tolist() == [20.0, 20.0, 21.0, 21.0]


@pytest.mark.long
def test_a_task_counts_its_labels_and_hours() -> None:
    """Two half-hour logs of one fault."""
    cases = list(faulty("halt", 2, 2))
    result = done(Task("halt", 2, 2))
    assert result.score.labels == sum(len(case.labels) for case in cases) == 2
    assert result.score.hours == pytest.approx(sum(case.hours for case in cases))
    assert result.seen[str(Kind.HALT)] == 2
