"""The form of a strange host: what it says at each step, what it must be asked, what is true."""

import json
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from client.form import Request
from shared.updates import Entry, EntryKind
from tests.client.learn.odd.machine import STEP_S, Life, Machine
from tests.client.learn.ways import Way, drawn

STEPS = 100
Say = Callable[[Machine], list[Any]]
"""Messages of one step, in order; `Raw` for bytes that are no JSON."""
Truth = Callable[[Machine], float | str | None]

HEATER_TRUTHS: dict[str, Callable[[Machine, str], float | None]] = {
    "temperature_c": lambda m, name: m.heaters[name].shown,
    "target_c": lambda m, name: m.heaters[name].goal,
    "power": lambda m, name: m.heaters[name].power,
}


class Raw(bytes):
    """A frame as it stands."""


@dataclass(frozen=True)
class OddHost:
    """One host."""

    name: str
    say: Say
    """Messages of a step; of step 0 the answer to the request, if it must be asked."""
    must: tuple[str, ...]
    """`CHANNEL.QUANTITY` that must be learnt right; channels under our names or the host's."""
    truths: Mapping[str, Truth] = field(default_factory=dict)
    """What is true of those that are no heater's."""
    requests: tuple[str, ...] = ()
    """JSON that must be sent before it speaks."""
    bare: bool = False
    polled: bool = False
    """Whether it speaks only when asked, each time anew."""
    given_way: Way | None = None
    """How its messages are carried, where that is what is strange about it."""
    life: Life = "heating"
    options: tuple[str, ...] = ()
    """What the user adds to the command line, as a person with this host's manual would."""
    clock: str | None = None
    """Unit of its clock; None for none."""
    token: str = ""
    why: str = ""

    @property
    def way(self) -> Way:
        """How its messages are carried: drawn at random, the same each time."""
        return self.given_way or drawn(random.Random(self.name))

    def truth(self, key: str, machine: Machine) -> float | str | None:
        if key in self.truths:
            return self.truths[key](machine)
        channel, _, quantity = key.rpartition(".")
        return HEATER_TRUTHS[quantity](machine, channel)

    @property
    def way_of_asking(self) -> str:
        return "--poll" if self.polled else "--send"

    def given(self, option: str) -> list[str]:
        """What the user gives with an option of the command line."""
        pairs = zip(self.options, self.options[1:], strict=False)
        return [value for name, value in pairs if name == option]

    def sent(self) -> list[Request]:
        every_s = STEP_S if self.polled else None
        return [Request(json=t, envelope=not self.bare, every_s=every_s) for t in self.requests]

    def run(self, steps: int = STEPS, own_s: float = 5000.0) -> tuple[list[Entry], list[Machine]]:
        """Entries as a reader would give them, and the machine at each of them."""
        machine, entries, states = Machine(self.life), list[Entry](), list[Machine]()
        for n in range(steps):
            machine.step()
            for message in self.say(machine):
                payload = frame(message)
                at_s = own_s + n * STEP_S + machine.chance.random() * 0.01
                entries.append(Entry(at_s, EntryKind.MESSAGE, payload))
                states.append(frozen(machine))
        return entries, states


def frozen(machine: Machine) -> Machine:
    """A copy that stands still."""
    import copy

    return copy.deepcopy(machine)


def frame(message: Any) -> bytes:
    return bytes(message) if isinstance(message, Raw) else json.dumps(message).encode()


class Changes:
    """What differs from what was said last, member by member."""

    def __init__(self) -> None:
        self.last: Any = None

    def of(self, status: dict[str, Any], machine: Machine) -> dict[str, Any]:
        last, self.last = ({} if machine.n == 0 else self.last), status
        return _differing(last, status)


def _differing(last: Any, new: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in new.items():
        before = last.get(name) if isinstance(last, dict) else None
        if isinstance(value, dict):
            inner = _differing(before, value)
            if inner or before is None:
                found[name] = inner
        elif before != value or name not in (last or {}):
            found[name] = value
    return found
