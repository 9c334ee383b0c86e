"""Every scenario ends with the cause that the simulated machine really has.

The truth is the simulator's: faults are put into its physics, and detectors and diagnosis
see only what the host sends.
"""

import pytest

from client.simulated.scenario import Scenario, load_scenario, scenario_names
from detectors.diagnosis import diagnose, verdict
from detectors.watch import Watch
from shared.events import Event, RankedCause
from shared.words import EVERY_CHANNEL, Severity
from tests import scenario_logs

FOR_S = 900.0
SEEDS = (0, pytest.param(1, marks=pytest.mark.slow), pytest.param(2, marks=pytest.mark.slow))
HEALTHY = tuple(name for name in scenario_names() if load_scenario(name).expect.healthy)
FAULTY = tuple(name for name in scenario_names() if name not in HEALTHY)


def judged(scenario: Scenario, seed: int) -> tuple[list[Event], tuple[RankedCause, ...]]:
    """Events that stand on their own, and the ranking."""
    watch = Watch(scenario.chains)
    watch.feed(scenario_logs.batch(scenario.name, seed, FOR_S))
    watch.finish()
    events = [event for event in watch.events if event.absorbed_by is None]
    return events, diagnose(events, scenario.chains)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", FAULTY)
def test_the_leading_cause_is_the_true_one(name: str, seed: int) -> None:
    """The kind expected is found on its channel, its cause leads, and a check is proposed."""
    scenario = load_scenario(name)
    expect = scenario.expect
    events, causes = judged(scenario, seed)
    places = {expect.channel, EVERY_CHANNEL}
    assert any(event.kind in expect.kinds and event.channel in places for event in events)
    ranked = [cause for cause in causes if cause.channel == expect.channel]
    assert ranked
    assert ranked[0].cause is expect.cause
    assert ranked[0].next_check is not None


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", HEALTHY)
def test_a_healthy_machine_is_given_no_cause(name: str, seed: int) -> None:
    """Nothing above a notice, and the verdict says how long it was watched."""
    scenario = load_scenario(name)
    events, causes = judged(scenario, seed)
    found = verdict(events, causes, span_s=FOR_S, channels=4)
    assert [event for event in events if event.severity is not Severity.NOTICE] == []
    assert found.severity is Severity.NOTICE
    assert found.text.startswith("no fault found in 15 min")
