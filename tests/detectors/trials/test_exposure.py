"""Exposure and occurrences: against the simulated machine's truth, and however a log is cut."""

import random
from itertools import pairwise

import pytest

from detectors.engine.watch import Watch
from detectors.trials.exposure import Ledger, Usage
from shared.updates import Update, batch_of
from shared.words import EVERY_CHANNEL, Gate, Kind
from tests import scenario_logs
from tests.detectors.logs import steady
from tests.levels import first


def used(log: list[Update], cuts: list[int] | None = None) -> tuple[Usage, Watch]:
    ledger = Ledger()
    watch = Watch({}, [ledger])
    edges = [0, *(cuts or []), len(log)]
    for start, stop in pairwise(edges):
        watch.feed(batch_of(log[start:stop]))
    watch.finish()
    return ledger.usage(watch.events), watch


@pytest.mark.parametrize("seed", first(1, range(4)))
def test_exposure_does_not_depend_on_how_a_log_was_cut(seed: int) -> None:
    """Singly, in blocks, or anything between: the same spans and the same faults."""
    log = scenario_logs.updates("loose-terminal", 1, 200.0)
    rng = random.Random(seed)
    cuts = sorted({rng.randrange(1, len(log)) for _ in range(40)} | {300, 303, 305})
    assert used(log, cuts)[0] == used(log)[0]


def test_every_occurrence_counts_though_events_join_them() -> None:
    """As many as the events' counts say, at times of their own."""
    usage, watch = used(scenario_logs.updates("loose-terminal", 1))
    breaks = [one for one in usage.occurrences if one.kind is Kind.CONTACT_BREAK]
    counted = sum(e.count for e in watch.events if e.kind is Kind.CONTACT_BREAK)
    assert len(breaks) == counted > 10
    assert len({one.at_s for one in breaks}) == counted
    assert len([e for e in watch.events if e.kind is Kind.CONTACT_BREAK]) < counted


def test_metres_are_those_of_the_carriage() -> None:
    """By the simulated machine's own speed, within 2 %; the time is the log's."""
    log = scenario_logs.updates("healthy-print", 1, 600.0)
    usage, _ = used(log)
    spans = usage.spans[EVERY_CHANNEL]
    speed, last_s, metres = 0.0, log[0].time_s, 0.0
    for update in log:
        if update.time_s > spans[-1].end_s:
            break
        metres += speed * (update.time_s - last_s) / 1000.0
        last_s = update.time_s
        value = update.values.get("motion.speed_mm_s")
        speed = value if isinstance(value, float) else speed
    assert sum(span.metres for span in spans) == pytest.approx(metres, rel=0.02)
    assert sum(span.seconds for span in spans) == pytest.approx(600.0, abs=9.0)


def test_a_heat_up_counts_once() -> None:
    usage, _ = used(scenario_logs.updates("healthy-print", 1, 600.0))
    assert len(usage.heat_ups_s["nozzle"]) == 1
    assert {Gate.HEATING, Gate.PRINTING} <= {span.gate for span in usage.spans["nozzle"]}


def test_silence_is_no_exposure() -> None:
    """A minute without an update does not count as watched."""
    log = [u for u in steady(240.0) if not 100.0 < u.time_s < 160.0]
    usage, _ = used(log)
    seconds = sum(span.seconds for span in usage.spans["nozzle"])
    assert seconds == pytest.approx(240.0 - 60.0, abs=10.0)


def test_without_motion_nothing_is_said_of_it() -> None:
    usage, _ = used(steady(60.0))
    assert {span.moving for span in usage.spans["nozzle"]} == {None}
