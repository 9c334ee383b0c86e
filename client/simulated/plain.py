"""A scenario as updates, without a socket: the same numbers as arrive through one."""

from collections.abc import Iterator

from client.simulated.machine import Machine, MachineMoment
from client.simulated.scenario import Scenario
from client.simulated.status import values_of
from shared.updates import Update
from shared.words import HostState

TICK_S = 1.0
"""Time without an update after which one without values says that time passed."""


def updates(scenario: Scenario, seed: int = 0, for_s: float | None = None) -> Iterator[Update]:
    """Updates of the first `for_s` simulated seconds (None: the scenario's own length).

    The times are simulated time plus what the host had been up for, and never fall.
    """
    for moment, found in moments(scenario, seed, for_s):
        del moment
        if found is not None:
            yield found


def moments(
    scenario: Scenario, seed: int = 0, for_s: float | None = None
) -> Iterator[tuple[MachineMoment, Update | None]]:
    """Same, with the truth beside each update, also where none comes."""
    end_s = scenario.for_s if for_s is None else for_s
    machine = Machine(scenario, seed)
    offset_s: float | None = None
    last_s = 0.0
    was_up = False
    while True:
        moment = machine.advance()
        if moment.time_s > end_s:
            return
        if offset_s is None:
            offset_s = moment.host_s - moment.time_s
        time_s = round(moment.time_s + offset_s, 3)
        found: Update | None = None
        if was_up and not moment.link_up:
            found = Update(time_s, {"host.state": HostState.GONE.value})
            was_up = False
        elif moment.changes is not None:
            # A new connection begins with the whole status.
            found = Update(time_s, values_of(moment.changes if was_up else machine.known))
            was_up = True
        elif time_s - last_s > TICK_S:
            found = Update(time_s, {})
        if found is not None:
            last_s = time_s
        yield moment, found
