"""Real sensors: whole, nothing is said; what is put in is found."""

import pytest

from shared.words import Kind
from tests.quality.traces import NAMES, PUTS, trace, trials, watched


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_said_of_whole_sensors(name: str) -> None:
    """Hours of several: no event outside the stretches that are labelled."""
    assert watched(trace(name).batch) == []


@pytest.mark.parametrize("kind", list(PUTS))
def test_what_is_put_into_a_real_trace_is_found(kind: Kind) -> None:
    """Where its rate of readings lets the kind be asked; `docs/worlds.md` has more of them."""
    found = list(trials(trace("motes"), kind, 6, seed=3))
    assert sum(is_found for is_found, _ in found) >= 5
