"""A fault that several detectors see is counted once."""

from hypothesis import given
from hypothesis import strategies as st

from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import Change, Watched, trials
from detectors.trials.exposure import Occurrence, Span, Usage
from detectors.trials.onefault import TOGETHER_S, counted_once, one_fault
from shared.words import Gate, Kind

BREAK, HIGH, FLAG = Kind.CONTACT_BREAK, Kind.CODE_HIGH, Kind.CONVERTER_FLAG


def usage(*faults: tuple[Kind, float], hours: float = 2.0) -> Usage:
    """A nozzle that prints all the time, with these faults."""
    seconds = 3600.0 * hours
    spans = tuple(
        Span(at, at + 60.0, Gate.PRINTING, True, 60.0, 3.0) for at in range(0, int(seconds), 60)
    )
    found = [Occurrence("nozzle", kind, at_s) for kind, at_s in faults]
    return Usage({"nozzle": spans}, {}, tuple(sorted(found, key=lambda one: one.at_s)))


def at_all(*kinds: Kind) -> list[tuple[Kind, float]]:
    """Ten faults that all of these kinds saw, with the flag a second late."""
    return [(kind, 100.0 * n + (kind is FLAG)) for n in range(1, 11) for kind in kinds]


def test_views_of_one_contact_are_one_fault() -> None:
    """An open contact drives the code to its end and raises the flag: ten faults, not thirty."""
    found = trials([Watched(usage(*at_all(BREAK, HIGH, FLAG)), (Change(3600.0, "tightened"),))])
    assert [(one.kind, one.count, one.trial) for one in found] == [(BREAK, 10, 0), (BREAK, 0, 1)]
    assert set(found[0].also) == {HIGH, FLAG}


def test_a_kind_that_came_by_itself_stays_a_fault_of_its_own() -> None:
    """Flags at other times are another fault, and take their own hours to prove gone."""
    other = [(FLAG, 100.0 * n + 50.0) for n in range(1, 11)]
    found = trials([Watched(usage(*at_all(BREAK), *other))])
    assert [(one.kind, one.count, one.also) for one in found] == [(BREAK, 10, ()), (FLAG, 10, ())]


def test_what_came_without_the_leading_kind_counts_with_it() -> None:
    """Nine flags with a break and one alone after the repair: the repair has not held."""
    faults = [*at_all(BREAK), *[(FLAG, 100.0 * n) for n in range(1, 10)], (FLAG, 5000.0)]
    found = trials([Watched(usage(*faults), (Change(3600.0, "tightened"),))])
    assert [(one.kind, one.count) for one in found] == [(BREAK, 10), (BREAK, 1)]
    assert found[1].outcome is not TrialOutcome.BETTER


def test_spikes_toward_open_beside_contact_breaks_are_the_same_contact() -> None:
    """Open for one reading in place of two; spikes both ways, or more of them, are their own."""

    def with_spikes(ways: list[bool]) -> list[tuple[Kind, int]]:
        breaks = [Occurrence("nozzle", BREAK, 100.0 * n, True) for n in range(1, 11)]
        spikes = [
            Occurrence("nozzle", Kind.SPIKE, 100.0 * n + 50.0, is_up)
            for n, is_up in enumerate(ways, start=1)
        ]
        both = sorted((*breaks, *spikes), key=lambda one: one.at_s)
        log = usage()
        found = trials([Watched(Usage(log.spans, log.heat_ups_s, tuple(both)))])
        return [(one.kind, one.count) for one in found]

    assert with_spikes([True] * 4) == [(BREAK, 14)]
    assert with_spikes([True, True, False]) == [(BREAK, 10), (Kind.SPIKE, 3)]
    assert with_spikes([True] * 12) == [(BREAK, 10), (Kind.SPIKE, 12)]


@given(
    st.lists(
        st.tuples(st.sampled_from([BREAK, HIGH, FLAG, Kind.NOISE_RISE]), st.floats(0.0, 7000.0)),
        max_size=30,
    )
)
def test_no_instant_is_lost_and_joined_kinds_are_gone(faults: list[tuple[Kind, float]]) -> None:
    """Every fault has one of its kind within a moment of it."""
    before = usage(*faults)
    joined = one_fault([before])
    after = counted_once(before, joined)
    assert not {(one.channel, one.kind) for one in after.occurrences} & set(joined)
    for one in before.occurrences:
        kind = joined.get((one.channel, one.kind), one.kind)
        assert any(
            other.kind is kind and abs(other.at_s - one.at_s) <= TOGETHER_S
            for other in after.occurrences
        )
