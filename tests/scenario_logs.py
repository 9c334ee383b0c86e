"""What the simulated host sends in a scenario, simulated once a run: see `tests.shared_work`.

That the same scenario and seed give the same, and that a longer run begins with the shorter
one, `tests/client/simulated` holds.
"""

from functools import lru_cache

from client.simulated import plain
from client.simulated.machine import MachineMoment
from client.simulated.scenario import load_scenario
from shared.updates import Batch, Update, batch_of
from tests.shared_work import once

LONGEST_S = 900.0
"""What is made of a scenario in one piece, at most, unless someone asks for more."""
Moments = list[tuple[MachineMoment, Update | None]]


def moments(name: str, seed: int = 0, for_s: float | None = None) -> Moments:
    """As `client.simulated.plain.moments`; not to be changed."""
    own_s = load_scenario(name).for_s
    end_s = own_s if for_s is None else for_s
    made = _moments(name, seed, max(min(own_s, LONGEST_S), end_s))
    return [pair for pair in made if pair[0].time_s <= end_s]


def updates(name: str, seed: int = 0, for_s: float | None = None) -> list[Update]:
    """As `client.simulated.plain.updates`; not to be changed."""
    return [update for _, update in moments(name, seed, for_s) if update is not None]


def batch(name: str, seed: int = 0, for_s: float | None = None) -> Batch:
    """The same in one batch."""
    return batch_of(updates(name, seed, for_s))


@lru_cache(maxsize=4)
def _moments(name: str, seed: int, for_s: float) -> Moments:
    def make() -> Moments:
        return list(plain.moments(load_scenario(name), seed, for_s))

    return once(f"moments of {name} {seed} {for_s}", make)
