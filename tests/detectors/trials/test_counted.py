"""Trials: published examples, SciPy and statsmodels as oracles, and simulated truths."""

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.rates import test_poisson_2indep as poisson_test

from detectors.chance.rates import fewer_p, further_quiet
from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import Change, KindTrial, Watched, trials
from detectors.trials.exposure import Occurrence, Span, Usage
from shared.words import EVERY_CHANNEL, Gate, Kind
from tests.levels import first, some

HOUR_S = 3600.0


def log(
    hours: float,
    at_h: list[float],
    changes: tuple[Change, ...] = (),
    *,
    gate: Gate = Gate.PRINTING,
    moving: bool | None = True,
    kind: Kind = Kind.CONTACT_BREAK,
    mm_s: float = 50.0,
) -> Watched:
    """A log of minute spans that are all alike, with faults on `nozzle` at these hours."""
    spans = tuple(
        Span(60.0 * index, 60.0 * (index + 1), gate, moving, 60.0, 60.0 * mm_s / 1000.0)
        for index in range(round(60.0 * hours))
    )
    faults = tuple(Occurrence("nozzle", kind, HOUR_S * at) for at in sorted(at_h))
    return Watched(Usage({"nozzle": spans, EVERY_CHANNEL: spans}, {}, faults), changes)


def evenly(count: int, hours: float, from_h: float = 0.0) -> list[float]:
    return [from_h + hours * (index + 0.5) / count for index in range(count)]


def repaired(k1: int, t1: float, k2: int, t2: float) -> KindTrial:
    """The second of two trials with these counts and hours."""
    at = evenly(k1, t1) + (evenly(k2, t2, t1) if k2 else [])
    *_, last = trials([log(t1 + t2, at, (Change(HOUR_S * t1, "three wires"),))])
    return last


def test_the_published_example_of_two_rates() -> None:
    """11 in 800 against 21 in 3,011 (R's poisson.test help page; verified): p = 0.07967, ratio
    1.971488, 0.8584264 to 4.2772659. Here the first is the new trial, in tenths of hours."""
    found = repaired(21, 301.1, 11, 80.0)
    assert (found.count, found.hours) == pytest.approx((11, 80.0))
    assert found.p == pytest.approx(0.07967, abs=5e-6)
    assert found.ratio == pytest.approx(1.971488, abs=5e-7)
    assert found.ratio_low == pytest.approx(0.8584264, abs=5e-7)
    assert found.ratio_high == pytest.approx(4.2772659, abs=5e-6)


def test_one_rate_has_its_published_interval() -> None:
    """137 in 24.19893: 5.661407, 4.753125 to 6.692709 (computed; R's help page has the case)."""
    first, *_ = trials([log(24.2, evenly(137, 24.19))])
    assert first.rate_per_h == pytest.approx(137 / 24.2)
    scale = 24.19893 / 24.2
    assert first.low_per_h == pytest.approx(4.753125 * scale, abs=1e-5)
    assert first.high_per_h == pytest.approx(6.692709 * scale, abs=1e-5)
    assert first.outcome is TrialOutcome.FIRST


@pytest.mark.parametrize(("faults", "ratio"), [(3, 1.714), (5, 0.821), (10, 0.349)])
def test_how_long_a_repair_must_stay_quiet(faults: int, ratio: float) -> None:
    """k faults in T1, none in T2: T2/T1 must be 1.714, 0.821, 0.349 (computed)."""
    assert further_quiet(faults, 10.0, 0, 0.0) == pytest.approx(10.0 * ratio, abs=0.01)
    early = repaired(faults, 10.0, 0, 1.0)
    assert early.outcome is TrialOutcome.TOO_EARLY
    assert early.further_h == pytest.approx(10.0 * ratio - 1.0, abs=0.02)
    proven = repaired(faults, 10.0, 0, math.ceil(600.0 * ratio + 2) / 60.0)
    assert proven.outcome is TrialOutcome.BETTER
    assert proven.further_h is None


@settings(max_examples=some(60), deadline=None)
@given(
    counts=st.tuples(st.integers(0, 40), st.integers(0, 40)),
    hours=st.tuples(st.integers(1, 40), st.integers(1, 40)),
)
def test_the_comparison_agrees_with_scipy_and_statsmodels(
    counts: tuple[int, int], hours: tuple[int, int]
) -> None:
    """Two-sided p by SciPy's binomial test, one-sided p by statsmodels' exact conditional one."""
    (k1, k2), (t1, t2) = counts, hours
    if not k1 + k2:
        return
    found = repaired(k1, float(t1), k2, float(t2))
    assert found.p is not None
    oracle = stats.binomtest(k2, k1 + k2, t2 / (t1 + t2))
    assert found.p == pytest.approx(oracle.pvalue, rel=1e-6)
    interval = oracle.proportion_ci(0.95)
    assert found.ratio_low == pytest.approx(
        interval.low / (1.0 - interval.low) * t1 / t2, rel=1e-6, abs=1e-12
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        told = poisson_test(k2, t2, k1, t1, method="exact-cond", alternative="smaller")
    assert fewer_p(k1, t1, k2, t2) == pytest.approx(float(told.pvalue), rel=1e-6)
    if found.outcome is TrialOutcome.BETTER:
        assert fewer_p(k1, t1, k2, t2) < 0.05
    if found.outcome is TrialOutcome.WORSE:
        assert fewer_p(k2, t2, k1, t1) < 0.05


@given(
    k1=st.integers(1, 50), k2=st.integers(0, 20), t1=st.floats(0.1, 50.0), t2=st.floats(0.1, 50.0)
)
def test_after_the_further_hours_and_not_before_the_test_is_passed(
    k1: int, k2: int, t1: float, t2: float
) -> None:
    """The hours that are asked for are the least that do."""
    further = further_quiet(k1, t1, k2, t2)
    assert fewer_p(k1, t1, k2, t2 + further * 1.001 + 1e-9) < 0.05
    if further > 0.0:
        assert fewer_p(k1, t1, k2, t2 + 0.999 * further) >= 0.05
        if k2 == 0:
            # With none since, the chance that all k faults fell into the first part.
            assert (t1 / (t1 + t2 + further)) ** k1 == pytest.approx(0.05)


def test_nothing_is_gone_before_it_was_quiet_for_longer_than_ever_before() -> None:
    """Faults that came in one hour of ten may stay away for nine without any repair."""
    first = [9.0 + part for part in evenly(7, 1.0)]
    early = trials([log(18.5, first, (Change(10.0 * HOUR_S, "sprayed it"),))])[-1]
    assert fewer_p(7, 10.0, 0, 8.5) < 0.05
    assert early.outcome is TrialOutcome.TOO_EARLY
    assert early.further_h == pytest.approx(0.57, abs=0.05)


def test_faults_in_one_cluster_count_as_few() -> None:
    """Forty faults within minutes of ten hours tell hardly more than one."""
    first = [5.0 + part for part in evenly(40, 0.05)]
    early = trials([log(12.0, first, (Change(10.0 * HOUR_S, "sprayed it"),))])[-1]
    assert early.scatter > 30.0
    assert early.outcome is TrialOutcome.TOO_EARLY
    assert early.further_h == pytest.approx(19.0 * 10.0 - 2.0, abs=0.5)


@pytest.mark.parametrize("burst", first(1, [1, 8]))
def test_a_change_that_does_nothing_is_seldom_called_better(burst: int) -> None:
    """Simulated truth: equal rates, alone or in clusters of eight; at most one in ten is called
    better (one-sided 5 % at each look, and few looks are exact)."""
    rng = random.Random(burst)
    called = 0
    for _ in range(120):
        at: list[float] = []
        for _ in range(rng.randrange(4, 40)):
            middle = rng.uniform(0.0, 20.0)
            at += [min(max(middle + rng.gauss(0.0, 0.05), 0.0), 19.99) for _ in range(burst)]
        found = trials([log(20.0, at, (Change(10.0 * HOUR_S, "nothing"),))])[-1]
        called += found.outcome is TrialOutcome.BETTER
    assert called <= 12


def test_fewer_and_more_and_the_same() -> None:
    assert repaired(40, 10.0, 5, 10.0).outcome is TrialOutcome.BETTER
    assert repaired(5, 10.0, 40, 10.0).outcome is TrialOutcome.WORSE
    assert repaired(40, 10.0, 38, 10.0).outcome is TrialOutcome.NO_CHANGE
    assert repaired(3, 10.0, 2, 10.0).outcome is TrialOutcome.TOO_EARLY
    assert repaired(0, 10.0, 8, 10.0).outcome is TrialOutcome.WORSE


def test_exposures_of_several_nights_add_up() -> None:
    """Two nights before the change and two after are one trial each."""
    first, second = log(5.0, evenly(6, 5.0)), log(5.0, evenly(4, 5.0))
    third = log(4.0, [], (Change(0.0, "new terminal"),))
    fourth = log(6.0, [])
    before, after = trials([first, second, third, fourth])
    assert (before.count, before.hours) == pytest.approx((10, 10.0))
    assert (after.count, after.hours) == pytest.approx((0, 10.0))
    assert after.outcome is TrialOutcome.BETTER
    assert [number for _, number in before.curve] == list(range(1, 11))
    assert before.curve[6][0] > 5.0


def test_a_fault_that_came_only_in_motion_has_hours_and_metres_of_motion() -> None:
    """Nine hours at rest prove nothing; one hour of motion at 50 mm/s is 180 m."""
    spans, faults = [], []
    for hour in range(20):
        moving = hour % 10 == 0
        start = HOUR_S * hour
        spans.append(Span(start, start + HOUR_S, Gate.PRINTING, moving, HOUR_S, 180.0 * moving))
    faults = [Occurrence("nozzle", Kind.CONTACT_BREAK, 360.0 * index) for index in range(10)]
    usage = Usage({"nozzle": tuple(spans)}, {}, tuple(faults))
    before, after = trials([Watched(usage, (Change(10 * HOUR_S, "tightened"),))])
    assert (before.state, before.hours, before.metres) == ("moving", 1.0, 180.0)
    assert (after.hours, after.metres, after.outcome) == (1.0, 180.0, TrialOutcome.BETTER)


def test_a_fault_of_heat_ups_counts_them() -> None:
    spans = tuple(
        Span(600.0 * i, 600.0 * (i + 1), gate, None, 600.0, 0.0)
        for i, gate in enumerate([Gate.HEATING, Gate.HOLDING, Gate.COOLING] * 8)
    )
    faults = tuple(Occurrence("nozzle", Kind.NO_RISE, 1800.0 * i + 60.0) for i in range(4))
    heat_ups = tuple(1800.0 * i for i in range(8))
    usage = Usage({"nozzle": spans}, {"nozzle": heat_ups}, faults)
    before, after = trials([Watched(usage, (Change(7200.0, "new heater plug"),))])
    assert before.state == "heating"
    assert (before.heat_ups, after.heat_ups) == (4, 4)
    assert before.hours == pytest.approx(4.0 / 6.0)


def test_a_change_to_one_channel_starts_no_trial_on_another() -> None:
    change = Change(HOUR_S, "bed screen", channel="bed")
    (only,) = trials([log(2.0, [0.5, 1.5], (change,))])
    assert (only.trial, only.count) == (0, 2)


def test_without_exposure_there_is_no_verdict_but_the_hours_still_needed() -> None:
    """A change that was just made has run for no time at all."""
    found = trials([log(10.0, evenly(5, 10.0), (Change(10.0 * HOUR_S, "just now"),))])[-1]
    assert found.outcome is TrialOutcome.TOO_EARLY
    assert found.further_h == pytest.approx(8.21, abs=0.01)
    assert math.isnan(found.rate_per_h)


def test_harmless_things_and_patterns_of_faults_get_no_trials() -> None:
    assert trials([log(1.0, [0.5], kind=Kind.STARTUP_TRANSIENT)]) == ()
    assert trials([log(1.0, [0.5], kind=Kind.INTERFERENCE)]) == ()
