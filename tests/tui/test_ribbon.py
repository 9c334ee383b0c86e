"""The ribbon says, at every moment, what the health rule says."""

import msgspec
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from detectors.health import trust_of
from shared.events import Event
from shared.health import Trust
from shared.words import HostState, Kind, Severity
from tests.tui.fakes import event
from tui.raster import Grid
from tui.ribbon import LEVELS, NO_DATA, levels, worst_per_cell

GRID = Grid(0, 200, 1.0)
NOTHING = np.zeros(200, bool)


@st.composite
def some_events(draw: st.DrawFn) -> list[Event]:
    found = []
    for number in range(draw(st.integers(0, 6))):
        start_s = draw(st.integers(0, 150))
        lasts_s = draw(st.one_of(st.none(), st.integers(1, 60)))
        found.append(
            event(
                number,
                draw(st.sampled_from([Kind.SPIKE, Kind.CODE_HIGH, Kind.LINK_LOSS, Kind.HALT])),
                float(start_s),
                None if lasts_s is None else float(start_s + lasts_s),
                severity=draw(st.sampled_from(list(Severity))),
                channel=draw(st.sampled_from(["nozzle", "bed", "*"])),
                absorbed_by=draw(st.sampled_from([None, None, 99])),
            )
        )
    return found


def as_of(item: Event, time_s: float) -> Event:
    """The event as it stood then: still active if it ended later."""
    late = item.end_s is not None and item.end_s > time_s
    return msgspec.structs.replace(item, end_s=None) if late else item


@given(some_events())
def test_the_ribbon_agrees_with_the_rule_of_health(found: list[Event]) -> None:
    """In mid-column, away from the edges, the painted level is what `trust_of` gave then."""
    painted = levels("nozzle", found, GRID, NOTHING, 0.0, 199.9)
    edges = {
        int(at)
        for item in found
        for at in (item.start_s, item.end_s, (item.end_s or 0.0) + 60.0)
        if at is not None
    }
    for column in set(range(200)) - edges:
        time_s = column + 0.5
        then = [as_of(item, time_s) for item in found if item.start_s <= time_s]
        assert LEVELS[painted[column]] == trust_of("nozzle", then, HostState.UP, time_s)[0]


def test_a_short_fault_is_not_lost_in_a_long_cell() -> None:
    wide = Grid(0, 20, 60.0)
    brief = event(1, Kind.CODE_HIGH, 600.0, 600.5)
    painted = levels("nozzle", [brief], wide, np.zeros(20, bool), 0.0, 1200.0)
    assert LEVELS[worst_per_cell(painted)[5]] is Trust.FALSE


def test_silence_is_unknown_and_the_future_is_empty() -> None:
    blank = NOTHING.copy()
    blank[50:60] = blank[101:] = True
    painted = levels("nozzle", [], GRID, blank, 0.0, 100.0)
    assert LEVELS[painted[55]] is Trust.UNKNOWN
    assert (painted[101:] == NO_DATA).all()
