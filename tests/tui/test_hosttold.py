"""Whether the host told its own state: a link that came back says nothing of it."""

import pytest

from shared.updates import Update, batch_of
from tui.hosttold import HostTold


@pytest.mark.parametrize(
    ("states", "shown"),
    [
        ([], ""),
        (["up"], "up"),
        (["gone", "up"], ""),
        (["gone", "up", "gone", "up", "halted"], "halted"),
        (["gone", "halted"], "halted"),
        (["up", "gone", "up"], "up"),
        (["unwell"], "unwell"),
        (["up", "gone"], "gone"),
    ],
)
def test_a_host_that_never_said_its_state_is_not_shown_as_up(states: list[str], shown: str) -> None:
    """Readings alone do not say it, and nor does their return."""
    told = HostTold()
    told.take(batch_of([Update(0.0, {"nozzle.temperature_c": 20.0})]))
    for n, state in enumerate(states):
        told.take(batch_of([Update(1.0 + n, {"host.state": state})]))
    assert told.word == shown


def test_its_last_words_are_kept() -> None:
    told = HostTold()
    told.take(batch_of([Update(float(n), {"host.message": f"word {n}"}) for n in range(3)]))
    told.take(batch_of([Update(4.0, {"bed.power": 0.1})]))
    assert told.message == "word 2"
