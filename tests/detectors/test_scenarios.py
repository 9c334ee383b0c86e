"""The simulated printer's scenarios, on what single rows and the host itself can show."""

import pytest

from client.simulated.scenario import load_scenario
from detectors.engine.watch import Watch
from shared.events import Event
from shared.words import Kind
from tests import scenario_logs
from tests.levels import first

MINE = {
    Kind.STARTUP_TRANSIENT,
    Kind.CODE_HIGH,
    Kind.CODE_LOW,
    Kind.CONTACT_BREAK,
    Kind.SPIKE,
    Kind.BIT_FLIP,
    Kind.STEP,
    Kind.FROZEN,
    Kind.STALE,
    Kind.JOINT_JUMP,
}


def found(name: str, seed: int, for_s: float | None = None) -> list[Event]:
    """Events of this file's kinds, absorbed ones left out."""
    scenario = load_scenario(name)
    watch = Watch(scenario.chains)
    watch.feed(scenario_logs.batch(name, seed, for_s))
    watch.finish()
    return [e for e in watch.events if e.absorbed_by is None and e.kind in MINE]


@pytest.mark.parametrize("seed", first(1, range(4)))
@pytest.mark.parametrize(
    "name", ["healthy-print", "heater-stops", "pickup-large-filter", "wrong-reference"]
)
def test_nothing_electrical_is_said_where_nothing_jumps(name: str, seed: int) -> None:
    """Healthy prints, and faults of other kinds, give none of these events."""
    assert not found(name, seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_a_healthy_night_is_silent(seed: int) -> None:
    """Twelve hours of printing, idling and cooling."""
    assert not found("healthy-night", seed)


@pytest.mark.parametrize("seed", first(1, range(4)))
@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("loose-terminal", {Kind.CONTACT_BREAK}),
        ("lead-breaks-at-position", {Kind.CONTACT_BREAK, Kind.CODE_HIGH}),
        ("flying-bus-wires", {Kind.BIT_FLIP, Kind.SPIKE, Kind.CODE_LOW}),
        ("open-from-start", {Kind.CODE_HIGH}),
        ("short", {Kind.CODE_LOW}),
        ("frozen-reading", {Kind.FROZEN}),
        ("supply-dip", {Kind.JOINT_JUMP}),
        ("settling-after-restart", {Kind.STARTUP_TRANSIENT}),
        ("host-halt", {Kind.STALE}),
    ],
)
def test_each_fault_is_called_by_its_name(name: str, kinds: set[Kind], seed: int) -> None:
    """The kinds that a scenario must show are there on any seed."""
    assert kinds <= {event.kind for event in found(name, seed)}


@pytest.mark.parametrize("seed", first(1, range(4)))
def test_a_loose_terminal_is_no_step_and_no_noise_of_spikes(seed: int) -> None:
    """Forty moments of contact give one story, at most a first spike beside it."""
    events = found("loose-terminal", seed)
    breaks = sum(e.count for e in events if e.kind is Kind.CONTACT_BREAK)
    assert breaks >= 25
    assert sum(e.count for e in events if e.kind is Kind.SPIKE) <= 2
    assert not [e for e in events if e.kind is Kind.STEP]


@pytest.mark.parametrize("seed", first(1, range(4)))
def test_settling_explains_everything_it_caused(seed: int) -> None:
    """Beside the startup-transients nothing remains."""
    kinds = {event.kind for event in found("settling-after-restart", seed)}
    assert kinds == {Kind.STARTUP_TRANSIENT}
