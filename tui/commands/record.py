"""`ohmvigil record`: records and detects without a screen, on one host or several."""

import argparse
import math
import sys
import time
from pathlib import Path

from client.company import Company
from shared.clock import own_time
from shared.errors import BadInput
from shared.events import Event
from tui.deliver import Outbox, policy_of, test_message, ways_of
from tui.follow import EventPrinter, changes, print_result
from tui.hangup import HangUp
from tui.hosts import profiles_for
from tui.lines import encode
from tui.lives import ALL_FAILED, close_all
from tui.longrun import file_plan_of, open_rolling
from tui.notify import Desk
from tui.output import say
from tui.outside import OutsideDeeds, ShelfDesk
from tui.pipeline import Live
from tui.recording_lines import RecordingLines
from tui.sink import notice_line, survive
from tui.snapshot import LinkState
from tui.trusting import tell_and_ask


def run(options: argparse.Namespace) -> int:
    """Record until interrupted, or for a time; every recording is complete at the end."""
    if options.for_s is not None and not 0.0 < options.for_s < math.inf:
        raise BadInput(f"--for {options.for_s:g}", "must be above 0 s", "try --for 3600")
    profiles = profiles_for(options.hosts, options.output)
    withheld = {profile.token.env for profile, _ in profiles if profile.token is not None}
    ways, policy, files = ways_of(options, withheld), policy_of(options), file_plan_of(options)
    if options.test_notify:
        for _, title in profiles:
            test_message(title, ways)
            say(f"{title}: the test message was taken")
        return 0
    tell_and_ask(profiles, trusted=options.trust)
    survive(_unprinted if options.json else notice_line)
    several = len(profiles) > 1
    outbox = Outbox(ways, _complain) if ways else None
    desks = [Desk(title, policy, own_time()) for _, title in profiles] if outbox else []
    teller = _Teller(desks, outbox)
    lives: list[tuple[Live, EventPrinter]] = []
    company = Company()
    hang_up = HangUp(ends=options.end_on_hangup)
    notes: list[RecordingLines] = []
    try:
        for profile, title in profiles:
            lines = RecordingLines(title, quiet=options.json)
            begun = [Path(live.recording.path) for live, _ in lives]
            recorder = open_rolling(options.output, profile, title, files, lines.tell, begun)
            live = Live(profile, title, recorder, waits=options.wait, shows=False, company=company)
            teller.host(live)
            lives.append((live, EventPrinter(title if several else "", as_json=options.json)))
            notes.append(lines)
            lines.show(live)
            live.start()
        until_s = math.inf if options.for_s is None else own_time() + options.for_s
        _follow(lives, notes, hang_up, teller, until_s)
    except KeyboardInterrupt:
        pass
    finally:
        close_all([live for live, _ in lives])
    try:
        for (live, _), lines in zip(lives, notes, strict=False):
            lines.show_failure(live)
        return _end(lives, options.json, teller)
    finally:
        teller.close()


class _Teller:
    """Hands events to each host's desk, and what is due to the outbox; nothing without one."""

    def __init__(self, desks: list[Desk], outbox: Outbox | None) -> None:
        self._desks = desks
        self._outbox = outbox
        self._shelves: list[ShelfDesk] = []
        self._outside: list[OutsideDeeds] = []

    def host(self, live: Live) -> None:
        """The next host in order: what is shelved in its recording is not told."""
        if self._outbox is not None:
            self._shelves.append(ShelfDesk(self._desks[len(self._shelves)], live))
            self._outside.append(OutsideDeeds(live))

    def event(self, host: int, event: Event) -> None:
        if self._outbox is not None:
            self._shelves[host].event(event, own_time())

    def tell(self, lives: list[tuple[Live, EventPrinter]]) -> None:
        if self._outbox is None:
            return
        for outside, shelf in zip(self._outside, self._shelves, strict=True):
            outside.look(own_time())
            shelf.release(own_time())
        local = time.localtime()
        for desk, (live, _) in zip(self._desks, lives, strict=False):
            is_heard = live.link_state is LinkState.OPEN
            minute = 60 * local.tm_hour + local.tm_min
            for message in desk.due(own_time(), minute, is_heard=is_heard):
                self._outbox.put(message)

    def close(self) -> None:
        """Send what waits: the watch has ended, so nothing more can join it."""
        if self._outbox is None:
            return
        for desk in self._desks:
            for message in desk.rest():
                self._outbox.put(message)
        self._outbox.close()


def _unprinted(count: int, why: str) -> str:
    return encode({"record": "unprinted", "lines": count, "why": why})


def _complain(line: str) -> None:
    say(f"ohmvigil: {line}", sys.stderr)


def _follow(
    lives: list[tuple[Live, EventPrinter]],
    notes: list[RecordingLines],
    hang_up: HangUp,
    teller: _Teller,
    until_s: float,
) -> None:
    """Until all have ended, or `until_s` of our own clock: a host's may stand."""
    while not hang_up.stop.is_set() and not all(live.finished.is_set() for live, _ in lives):
        if own_time() >= until_s:
            break
        time.sleep(0.1)
        _pass_on(lives, teller)
        for (live, _), lines in zip(lives, notes, strict=True):
            lines.show(live)
            lines.show_failure(live)
        teller.tell(lives)


def _pass_on(lives: list[tuple[Live, EventPrinter]], teller: _Teller) -> None:
    for number, (live, printer) in enumerate(lives):
        for event in changes(live, printer):
            printer.show(event, live.log_s)
            teller.event(number, event)


def _end(lives: list[tuple[Live, EventPrinter]], as_json: bool, teller: _Teller) -> int:
    """Results of all that were heard; 2 if every host has failed or nothing was ever read."""
    _pass_on(lives, teller)
    for live, printer in lives:
        if live.fatal is None or live.is_heard:
            print_result(live, printer.prefix, as_json=as_json)
        if not as_json and live.is_heard:
            say(f"{printer.prefix + ': ' if printer.prefix else ''}{live.held}")
    unread = [live for live, _ in lives if live.fatal is None and not live.has_read]
    for live in unread:
        _complain(str(live.unread))
    failed = sum(live.fatal is not None for live, _ in lives)
    return ALL_FAILED if lives and failed + len(unread) == len(lives) else 0
