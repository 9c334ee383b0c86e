"""Every scenario ends with the cause that the simulated machine really has.

The truth is the simulator's: faults are put into its physics, and detectors and diagnosis
see only what the host sends.
"""

import pytest

from client.simulated.scenario import Scenario, load_scenario, scenario_names
from detectors.diagnosis import diagnose, verdict
from detectors.engine.watch import Watch
from shared.events import Event, RankedCause
from shared.words import EVERY_CHANNEL, Severity
from tests import scenario_logs
from tests.levels import first

FOR_S = 900.0
SLOW = [pytest.param(seed, FOR_S, marks=pytest.mark.slow) for seed in (1, 2)]
HEALTHY = tuple(name for name in scenario_names() if load_scenario(name).expect.healthy)
FAULTY = tuple(name for name in scenario_names() if name not in HEALTHY)


def judged(
    scenario: Scenario, seed: int, for_s: float | None
) -> tuple[list[Event], tuple[RankedCause, ...]]:
    """Events that stand on their own, and the ranking; None: at the scenario's own end."""
    end_s = min(scenario.for_s, FOR_S) if for_s is None else for_s
    watch = Watch(scenario.chains)
    watch.feed(scenario_logs.batch(scenario.name, seed, end_s))
    watch.finish()
    events = [event for event in watch.events if event.absorbed_by is None]
    return events, diagnose(events, scenario.chains)


@pytest.mark.parametrize(("seed", "for_s"), [*first(1, [(0, None), (0, FOR_S)]), *SLOW])
@pytest.mark.parametrize("name", FAULTY)
def test_the_leading_cause_is_the_true_one(name: str, seed: int, for_s: float | None) -> None:
    """The kind expected is found on its channel, its cause leads, and a check is proposed."""
    scenario = load_scenario(name)
    expect = scenario.expect
    events, causes = judged(scenario, seed, for_s)
    places = {expect.channel, EVERY_CHANNEL}
    assert any(event.kind in expect.kinds and event.channel in places for event in events)
    ranked = [cause for cause in causes if cause.channel == expect.channel]
    assert ranked
    assert ranked[0].cause is expect.cause
    assert ranked[0].next_check is not None


@pytest.mark.parametrize(("seed", "for_s"), [(0, FOR_S), *SLOW])
@pytest.mark.parametrize("name", HEALTHY)
def test_a_healthy_machine_is_given_no_cause(name: str, seed: int, for_s: float) -> None:
    """Nothing above a notice, and the verdict says how long it was watched."""
    scenario = load_scenario(name)
    events, causes = judged(scenario, seed, for_s)
    found = verdict(events, causes, span_s=for_s, channels=4)
    assert [event for event in events if event.severity is not Severity.NOTICE] == []
    assert found.severity is Severity.NOTICE
    assert found.text.startswith("no fault found in 15 min")
