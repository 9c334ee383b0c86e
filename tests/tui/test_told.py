"""An event's line comes after its storing."""

from pathlib import Path
from typing import Any

import msgspec
import pytest

from shared.events import Event
from shared.words import Kind, Severity
from tests.bench.bench_told import SCENARIOS, missing, told_before_kill
from tui.follow import EventPrinter, changes


class FakeLive:
    """Notes the order in which it is asked."""

    def __init__(self, events: list[Event]) -> None:
        self.asked: list[str] = []
        self._events = events

    def take_changes(self) -> list[Event]:
        self.asked.append("changes")
        return self._events

    def store(self) -> None:
        self.asked.append("store")


def spike(count: int) -> Event:
    return Event(
        id=1,
        kind=Kind.SPIKE,
        channel="nozzle",
        start_s=1.0,
        end_s=None,
        severity=Severity.MAINTENANCE_REQUIRED,
        count=count,
        value=9.0,
        unit="K",
        text="one reading off",
    )


def test_what_gives_a_line_is_stored_first() -> None:
    live: Any = FakeLive([spike(1)])
    assert changes(live, EventPrinter()) == [spike(1)]
    assert live.asked == ["changes", "store"]


def test_a_count_that_gives_no_line_waits_for_no_disk() -> None:
    """Chatter would store ten times a second."""
    printer = EventPrinter(as_json=True)
    printer.show(spike(1))
    live: Any = FakeLive([spike(2)])
    changes(live, printer)
    assert live.asked == ["changes"]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(len(SCENARIOS)))
def test_what_was_told_before_a_kill_is_in_the_file(seed: int, tmp_path: Path) -> None:
    """Stored, and found again where the file is judged."""
    path = tmp_path / "night.ohmv"
    told = told_before_kill(path, SCENARIOS[seed], seed + 100)
    assert missing(path, told) == (0, 0)


def test_what_becomes_known_of_a_lost_link_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """While it is down: each thing once."""
    first = msgspec.structs.replace(spike(1), kind=Kind.LINK_LOSS, channel="*", text="down: reset")
    more = msgspec.structs.replace(first, text="down: reset; then its port refused")
    printer = EventPrinter()
    for event in (first, first, more, more):
        printer.show(event)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 2
    assert "then its port refused" in lines[1]
