"""Updates without a socket are those that the client makes of the host's messages."""

import pytest

from client.mapping import Mapper
from client.profile import simulated_profile
from client.simulated.machine import Machine
from client.simulated.plain import updates
from client.simulated.scenario import load_scenario, scenario_names
from client.simulated.session import LINES, encoded, lines_of
from shared.updates import Entry, EntryKind, Update
from tests.levels import one_in


def mapped(name: str, seed: int, for_s: float) -> list[Update]:
    """Updates that the mapper makes of the messages, each arriving when it leaves."""
    scenario = load_scenario(name)
    machine = Machine(scenario, seed)
    mapper = Mapper(simulated_profile("ws://127.0.0.1:1", scenario.chains))
    found: list[Update] = []
    while (moment := machine.advance()).time_s <= for_s:
        if moment.changes is None:
            continue
        params = {"no": 1, "clock_ms": moment.clock_ms, "lines": lines_of(moment.changes)}
        message = {"method": LINES, "params": params}
        found += mapper.feed(Entry(1000.0 + moment.sent_s, EntryKind.MESSAGE, encoded(message)))
    assert not mapper.refused
    return found


@pytest.mark.parametrize(
    "name", one_in(7, (n for n in scenario_names() if n not in ("link-drops", "healthy-night")))
)
def test_the_mapper_and_the_short_way_give_the_same(name: str) -> None:
    """Same keys, same values, same times, for two minutes of every unbroken link."""
    short = [update for update in updates(load_scenario(name), 2, 120.0) if update.values]
    long = [update for update in mapped(name, 2, 120.0) if update.values]
    assert [update.values for update in long] == [update.values for update in short]
    for one, other in zip(long, short, strict=True):
        assert one.time_s == other.time_s
