"""Ranking: order, what is left out, and evidence that is not counted twice."""

import math

from detectors.diagnosis import diagnose
from detectors.diagnosis.case import Fact
from detectors.diagnosis.rank import posterior, weigh
from shared.words import Cause, Gate, Kind, Severity
from tests.detectors.diagnosis.found import FLYING, PLUGGED, event, ranked


def log_odds(facts: list[Fact], one: Cause, other: Cause) -> float:
    odds = posterior(weigh(facts))
    return math.log(odds[one] / odds[other])


def test_a_single_fact_moves_the_odds_by_its_likelihood_ratio() -> None:
    """Bayes' rule: breaks in part, 0.70 under a loose contact against 0.45 under a lead."""
    before = log_odds([], Cause.LOOSE_CONNECTION, Cause.BROKEN_LEAD)
    after = log_odds([Fact("breaks-partial", "")], Cause.LOOSE_CONNECTION, Cause.BROKEN_LEAD)
    assert math.isclose(after - before, math.log(0.70 / 0.45))


def test_two_facts_of_one_family_count_less_than_both_alone() -> None:
    """A bit flip and codes at both ends are the same bus seen twice."""
    none = log_odds([], Cause.BUS_WIRING, Cause.LOOSE_CONNECTION)
    names = ("bit-flips", "both-ends")
    alone = [
        log_odds([Fact(name, "")], Cause.BUS_WIRING, Cause.LOOSE_CONNECTION) - none
        for name in names
    ]
    both = (
        log_odds([Fact(name, "") for name in names], Cause.BUS_WIRING, Cause.LOOSE_CONNECTION)
        - none
    )
    assert max(alone) < both < sum(alone)


def test_facts_of_two_families_count_fully() -> None:
    """What the reading did and what the converter says are different witnesses."""
    none = log_odds([], Cause.SENSOR_FAILED, Cause.NETWORK)
    one = log_odds([Fact("short-lasting", "")], Cause.SENSOR_FAILED, Cause.NETWORK)
    two = log_odds([Fact("flag-short", "")], Cause.SENSOR_FAILED, Cause.NETWORK)
    both = log_odds(
        [Fact("short-lasting", ""), Fact("flag-short", "")], Cause.SENSOR_FAILED, Cause.NETWORK
    )
    assert math.isclose(both - none, (one - none) + (two - none))


def test_a_weak_fact_moves_less_than_a_strong_one() -> None:
    """Strength is the exponent of the likelihood."""
    none = log_odds([], Cause.BUS_WIRING, Cause.NETWORK)
    weak = log_odds([Fact("bit-flips", "", 0.25)], Cause.BUS_WIRING, Cause.NETWORK)
    strong = log_odds([Fact("bit-flips", "")], Cause.BUS_WIRING, Cause.NETWORK)
    assert math.isclose(weak - none, 0.25 * (strong - none))


def test_flying_bus_wires_raise_the_bus() -> None:
    """The same zeros mean more where the converter hangs on loose wires."""
    found = event(Kind.CODE_LOW, count=3)
    plugged, flying = (
        next(c for c in ranked(found, chain=chain) if c.cause is Cause.BUS_WIRING)
        for chain in (PLUGGED, FLYING)
    )
    assert flying.probability > plugged.probability
    assert any("loose bus wires" in words for words in flying.evidence_for)


def test_absorbed_events_are_left_out() -> None:
    """What another event explains asks for no cause of its own."""
    found = event(Kind.SPIKE, absorbed_by=7)
    assert diagnose([found], {}) == ()


def test_notices_ask_for_no_cause_but_a_startup_transient_does() -> None:
    """It is worth knowing that it is harmless."""
    assert diagnose([event(Kind.RESTART, channel="*")], {}) == ()
    found = diagnose([event(Kind.STARTUP_TRANSIENT)], {})
    assert found[0].cause is Cause.SETTLING_AFTER_RESTART


def test_the_channel_with_the_worst_event_comes_first() -> None:
    """Whatever the order of the events."""
    mild = event(Kind.SPIKE, channel="bed", count=5, positive_share=0.5)
    bad = event(Kind.CODE_HIGH, channel="nozzle", end_s=None)
    for found in ([mild, bad], [bad, mild]):
        channels = [cause.channel for cause in diagnose(found, {})]
        assert channels[0] == "nozzle"
        assert channels[-1] == "bed"


def test_a_halt_that_a_channels_fault_brought_about_is_that_channels() -> None:
    """The host stopped because the nozzle read nonsense; it has no cause of its own."""
    open_ = event(Kind.CODE_HIGH, end_s=None, start_s=90.0)
    halt = event(Kind.HALT, channel="*", start_s=100.0, end_s=None, message="nozzle beyond limits")
    assert {cause.channel for cause in diagnose([open_, halt], {})} == {"nozzle"}
    assert {cause.channel for cause in diagnose([halt], {})} == {"*"}


def test_with_little_evidence_the_unknown_cause_leads() -> None:
    """A halt by someone's hand, a single odd reading at rest: nothing to go by."""
    halt = event(Kind.HALT, channel="*", gate=None, message="stopped at the panel")
    assert diagnose([halt], {})[0].cause is None
    odd = event(Kind.SPIKE, severity=Severity.MAINTENANCE_REQUIRED, gate=None)
    assert diagnose([odd], {})[0].cause is None


def test_faults_on_two_channels_at_once_point_to_what_they_share() -> None:
    """Frozen together on a common bus."""
    pair = [
        event(Kind.FROZEN, channel=name, start_s=50.0, end_s=None) for name in ("nozzle", "bed")
    ]
    alone = ranked(pair[0])
    both = ranked(*pair)
    shared = {Cause.BUS_WIRING, Cause.SUPPLY, Cause.HOST_LOAD, Cause.GROUND_LOOP}
    assert sum(c.probability for c in both if c.cause in shared) > sum(
        c.probability for c in alone if c.cause in shared
    )
    supply = next(cause for cause in both if cause.cause is Cause.SUPPLY)
    assert any("bed" in words for words in supply.evidence_for)


def test_a_fault_that_comes_again_in_mid_print_is_not_settling() -> None:
    """Settling does not recur; what does is something else."""
    causes = ranked(
        event(Kind.RESTART, channel="*", start_s=5.0, end_s=5.0),
        event(Kind.CODE_HIGH, start_s=10.0, end_s=12.0),
        event(Kind.CODE_HIGH, start_s=400.0, end_s=402.0, gate=Gate.PRINTING, count=5),
    )
    assert causes[0].cause is not Cause.SETTLING_AFTER_RESTART
