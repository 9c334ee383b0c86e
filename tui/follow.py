"""Watching without a screen: events as lines while they come, the diagnosis at the end."""

import threading
from collections.abc import Callable

from shared.bursts import bursts
from shared.events import Event
from shared.kinds import KINDS
from tui.lines import (
    burst_lines,
    burst_record,
    cause_lines,
    cause_record,
    encode,
    event_line,
    event_record,
    news_line,
    verdict_line,
    verdict_record,
)
from tui.output import say
from tui.pipeline import Live

COUNTS_SHOWN = (10, 100, 1000, 10_000)
"""A chattering event is printed when raised, when it ends, and at these counts."""


class EventPrinter:
    """Prints an event when it is raised, when it has lasted and ends, and at round counts."""

    def __init__(self, prefix: str = "", *, as_json: bool = False) -> None:
        self.prefix = prefix
        """Title of the host, where there are several."""
        self._as_json = as_json
        self._said: dict[int, Event] = {}

    def is_news(self, event: Event) -> bool:
        """Whether an event as it now stands gives a line."""
        before = self._said.get(event.id)
        return event.absorbed_by is None and (before is None or self._goes_on(before, event))

    def show(self, event: Event, now_s: float | None = None) -> None:
        """`now_s`: log time, for how often an event comes that goes on."""
        if not self.is_news(event):
            return
        before = self._said.get(event.id)
        self._said[event.id] = event
        if self._as_json:
            record = event_record(event)
            record["id"] = event.id
            if self.prefix:
                record["host"] = self.prefix
            say(encode(record))
        else:
            is_whole = before is None or _says_more(before, event)
            line = event_line(event) if is_whole else news_line(event, now_s)
            say(f"{self.prefix + '  ' if self.prefix else ''}{line}")

    def _goes_on(self, before: Event, event: Event) -> bool:
        ended = before.end_s is None and event.end_s is not None
        lasted = ended and event.end_s is not None and event.end_s - event.start_s >= 1.0
        grew = any(before.count < count <= event.count for count in COUNTS_SHOWN)
        return lasted or grew or _says_more(before, event)


def _says_more(before: Event, event: Event) -> bool:
    """Whether more is known by now of what goes on with the host."""
    grows = KINDS[event.kind].words_grow
    return grows and event.is_active and event.text != before.text


def changes(live: Live, printer: EventPrinter) -> list[Event]:
    """Events that changed; what gives a line is stored before it is told."""
    changed = live.take_changes()
    if any(printer.is_news(event) for event in changed):
        live.store()
    return changed


def follow(
    live: Live, printer: EventPrinter, stop: threading.Event, wait: Callable[[float], object]
) -> None:
    """Print events until the watch has ended or `stop` is set; `wait` paces the loop."""
    while not live.finished.is_set() and not stop.is_set():
        wait(0.1)
        for event in changes(live, printer):
            printer.show(event, live.log_s)
    live.close()
    for event in live.take_changes():
        printer.show(event, live.log_s)


def print_result(live: Live, host: str = "", *, as_json: bool = False) -> None:
    """Causes and verdict; `host` names whose they are, where there are several."""
    events, causes, found, assumed = live.results()
    if as_json:
        named = {"host": host} if host else {}
        for burst in bursts(events):
            say(encode({**burst_record(burst), **named}))
        for cause in causes:
            say(encode({**cause_record(cause), **named}))
        say(encode({**verdict_record(found), **named}))
        return
    if host:
        say(f"{host}:")
    for words in assumed:
        say(f"facts: {words}")
    for line in [*burst_lines(events), *cause_lines(causes)]:
        say(line)
    say(verdict_line(found))
