"""The machine: the same seed gives the same bytes, and only what changed is sent."""

from itertools import pairwise

import msgspec
import pytest

from client.simulated.faults import ControllerRestart, HostRestart, LooseContact, Open, Stall
from client.simulated.machine import Machine, MachineMoment
from client.simulated.rhythm import PERIOD_S
from client.simulated.scenario import Expect, ProgramStep, Scenario, Sending, Start, load_scenario
from client.simulated.status import Flat

WARM = Scenario(
    title="t",
    shows="s",
    start=Start(nozzle_c=200.0, bed_c=60.0),
    steps=(ProgramStep(at_s=0.0, nozzle_c=200.0, bed_c=60.0), ProgramStep(at_s=5.0, printing=True)),
    expect=Expect(healthy=True),
)


def with_(**changes: object) -> Scenario:
    return msgspec.structs.replace(WARM, **changes)


def run(scenario: Scenario, seed: int = 0, for_s: float = 60.0) -> list[MachineMoment]:
    machine = Machine(scenario, seed)
    return [machine.advance() for _ in range(round(for_s / PERIOD_S))]


def bytes_of(moments: list[MachineMoment]) -> bytes:
    return b"\n".join(
        repr(moment.changes).encode() + msgspec.json.encode(moment.truth) for moment in moments
    )


def test_the_same_seed_gives_the_same_bytes() -> None:
    """And another seed gives others."""
    scenario = load_scenario("loose-terminal")
    once, again, other = run(scenario, 7), run(scenario, 7), run(scenario, 8)
    assert bytes_of(once) == bytes_of(again)
    assert bytes_of(once) != bytes_of(other)


def test_a_fault_leaves_everything_before_it_untouched() -> None:
    """A fault from 30 s on: bytes up to there are those of the healthy machine."""
    fault = LooseContact(channel="nozzle", at_s=30.0, per_min=60.0)
    healthy, faulty = run(WARM), run(with_(faults=(fault,)))
    before = sum(moment.time_s < 30.0 for moment in healthy)
    assert bytes_of(healthy[:before]) == bytes_of(faulty[:before])
    assert bytes_of(healthy) != bytes_of(faulty)


def test_a_fault_does_not_reshuffle_the_noise_of_other_channels() -> None:
    """The chamber's sensor heats nothing: with it open, all else stays the same to the bit."""
    opened = with_(faults=(Open(channel="chamber", at_s=10.0),))
    for healthy, faulty in zip(run(WARM), run(opened), strict=True):
        assert healthy.changes is not None or faulty.changes is None
        for path, value in (healthy.changes or {}).items():
            if not path.startswith("chamber."):
                assert (faulty.changes or {})[path] == value


def test_a_second_fault_leaves_the_first_one_as_it_was() -> None:
    """Each fault draws from random numbers of its own."""
    loose = LooseContact(channel="chamber", when="always", per_min=30.0)
    alone, both = (
        [
            [label for label in moment.truth.faults if label.startswith("loose")]
            for moment in run(with_(faults=faults))
        ]
        for faults in ((loose,), (loose, Open(channel="bed", at_s=20.0)))
    )
    assert alone == both
    assert any(alone)


def test_an_unchanged_value_is_not_sent_again() -> None:
    """Changes differ from what was known, and added up they are the picture."""
    machine = Machine(WARM)
    known: Flat = {}
    for _ in range(400):
        changes = machine.advance().changes or {}
        for path, value in changes.items():
            assert path not in known or known[path] != value
        known.update(changes)
    assert known == machine.known
    assert known["host.stands"] == "serving"
    assert known["nozzle.wanted"] == 200.0


def test_updates_come_each_period_with_jitter() -> None:
    """On average to a thousandth; hardly two gaps are the same."""
    times = [moment.time_s for moment in run(WARM)]
    assert times[-1] == pytest.approx(60.0, abs=0.1)
    gaps = [late - early for early, late in pairwise(times)]
    assert min(gaps) > 0.1
    assert len({round(gap, 3) for gap in gaps}) > 20


def test_late_and_lost_updates_happen_as_often_as_the_scenario_says() -> None:
    """Late ones keep their moment and leave later, in order; lost ones do not leave."""
    moments = run(with_(sending=Sending(late=0.1, latest_s=2.0, lost=0.05)), for_s=4000 * PERIOD_S)
    lost = sum(moment.changes is None for moment in moments)
    late = sum(moment.sent_s > moment.time_s for moment in moments)
    assert 120 < lost < 280
    assert late > 300
    sent = [moment.sent_s for moment in moments]
    assert sent == sorted(sent)
    assert max(moment.sent_s - moment.time_s for moment in moments) <= 2.0


def test_after_a_controller_restart_uptime_is_small_and_readings_settle() -> None:
    """Up time falls, readings are absurd at first and true again half a minute later."""
    moments = run(with_(faults=(ControllerRestart(at_s=20.0),)), for_s=80.0)
    alive: dict[float, float] = {}
    shown: dict[float, float] = {}
    for moment in moments:
        changes = moment.changes or {}
        if "controller.awake_s" in changes:
            alive[moment.time_s] = changes["controller.awake_s"]
        if "nozzle.celsius" in changes:
            true = moment.truth.element_c["nozzle"]
            shown[moment.time_s] = changes["nozzle.celsius"] - true
    assert min(v for t, v in alive.items() if t < 20.0) > 900.0
    assert max(v for t, v in alive.items() if 22.5 < t < 30.0) < 10.0
    assert max(v for t, v in shown.items() if 22.0 < t < 24.0) > 300.0
    assert max(abs(v) for t, v in shown.items() if t > 62.0) < 1.5


def test_a_host_restart_takes_the_link_down_and_starts_its_time_anew() -> None:
    """Gone, then coming up, then serving, with the host's time from 0."""
    moments = run(with_(faults=(HostRestart(at_s=20.0, down_s=8.0, boot_s=6.0),)), for_s=50.0)
    for moment in moments:
        assert moment.link_up is not (20.0 <= moment.time_s < 28.0)
        since_s = moment.time_s - (28.0 if moment.time_s >= 28.0 else -1.0)
        if moment.link_up:
            assert moment.host_s == pytest.approx(since_s, abs=1e-3)
    stands = [
        moment.changes["host.stands"]
        for moment in moments
        if moment.changes is not None and "host.stands" in moment.changes
    ]
    assert stands == ["serving", "coming-up", "serving"]


def test_a_stall_sends_nothing_while_the_link_is_up() -> None:
    """The host is too busy; the physics goes on."""
    moments = run(with_(faults=(Stall(at_s=20.0, for_s=5.0),)))
    held = [moment for moment in moments if 20.0 <= moment.time_s < 25.0]
    assert all(moment.link_up and moment.changes is None for moment in held)
    assert held[0].truth.element_c != held[-1].truth.element_c


def test_a_halted_machine_has_no_goals_and_no_power() -> None:
    """An open sensor beyond the host's patience: stopped, and a remark says why."""
    machine = Machine(with_(faults=(Open(channel="nozzle", at_s=10.0),)))
    for _ in range(round(25.0 / PERIOD_S)):
        machine.advance()
    known = machine.known
    assert known["host.stands"] == "tripped"
    assert "nozzle" in known["host.because"]
    for heater in ("nozzle", "bed"):
        assert (known[f"{heater}.wanted"], known[f"{heater}.duty"]) == (0, 0)
    assert known["where.speed"] == 0.0
