"""What of a host was learnt right, by its truth."""

import math
from collections.abc import Mapping

from client.mapping import Mapper
from client.profile import Profile
from shared.updates import Entry, Value
from tests.client.learn.odd.host import OddHost
from tests.client.learn.odd.machine import Machine

TOLERANCE = {"temperature_c": 0.2, "target_c": 0.2, "power": 0.006, "uptime_s": 0.01}


def faults(host: OddHost, profile: Profile, entries: list[Entry], said: list[Machine]) -> list[str]:
    """Keys that are not right at the end of each message, and why; none for a host learnt well.

    A key counts as right when it was there in at least half of the messages from its first
    one on (as a value that holds), and was true each time.
    """
    mapper, held = Mapper(profile), dict[str, Value]()
    seen: dict[str, list[str]] = {key: [] for key in host.must}
    counts = dict.fromkeys(host.must, 0)
    for entry, machine in zip(entries, said, strict=True):
        fresh: dict[str, Value] = {}
        for update in mapper.feed(entry):
            fresh |= update.values
        held |= fresh
        for key in host.must:
            if key in fresh:
                counts[key] += 1
                truth = host.truth(key, machine)
                if not _same(key, held[key], truth):
                    seen[key].append(f"{held[key]!r} where {truth!r} is true")
    found = []
    for key in host.must:
        nothing = host.truth(key, said[-1]) is None
        if nothing and counts[key]:
            found.append(f"{key}: made up, {held[key]!r}")
        elif not nothing and not counts[key]:
            found.append(f"{key}: not learnt")
        elif seen[key]:
            found.append(f"{key}: {seen[key][-1]} ({len(seen[key])} of {counts[key]})")
    unit = profile.clock_unit if any(u.clock is not None for u in profile.updates) else None
    if unit != host.clock:
        found.append(f"clock: {unit} where {host.clock} is true")
    return found


def _same(key: str, value: Value, truth: float | str | None) -> bool:
    if truth is None or isinstance(truth, str) or isinstance(value, str):
        return value == truth
    return math.isclose(value, truth, abs_tol=TOLERANCE.get(key.rpartition(".")[2], 1e-6))


def shown(found: Mapping[str, list[str]]) -> str:
    return "\n".join(f"{name}: {'; '.join(each) or 'right'}" for name, each in found.items())
