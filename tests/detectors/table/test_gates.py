"""What a channel was doing is recorded with each of its events."""

import pytest

from client.simulated.scenario import load_scenario
from detectors.engine.watch import Watch
from detectors.table.gates import busiest
from shared.words import EVERY_CHANNEL, Gate, Kind
from tests import scenario_logs


@pytest.mark.parametrize(
    "name", ["supply-dip", "settling-after-restart", "host-halt", "link-drops"]
)
def test_every_event_says_what_its_channel_or_the_machine_did(name: str) -> None:
    scenario = load_scenario(name)
    watch = Watch(scenario.chains)
    watch.feed(scenario_logs.batch(scenario.name, 3))
    watch.finish()
    assert watch.events
    assert all(event.gate is not None for event in watch.events)


def test_a_joint_jump_in_a_print_is_recorded_as_printing() -> None:
    scenario = load_scenario("supply-dip")
    watch = Watch(scenario.chains)
    watch.feed(scenario_logs.batch(scenario.name, 3))
    joint = [event for event in watch.events if event.kind is Kind.JOINT_JUMP]
    assert joint[0].channel == EVERY_CHANNEL
    assert joint[0].gate is Gate.PRINTING


def test_a_machine_does_what_its_busiest_channel_does() -> None:
    assert busiest([Gate.COLD, Gate.PRINTING, Gate.HOLDING]) is Gate.PRINTING
    assert busiest([Gate.STARTING, Gate.COLD]) is Gate.COLD
    assert busiest([]) is Gate.STARTING
