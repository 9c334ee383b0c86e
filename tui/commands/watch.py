"""`ohmvigil watch`: the live screen on a real host, or the list of several."""

import argparse

from client.company import Company
from client.form import Profile
from shared.errors import BadInput
from shared.secrets import public_address
from tui.hangup import HangUp
from tui.hosts import profiles_for
from tui.leaving import Leaving
from tui.lives import all_failed, close_all, tell_failures, wait_any
from tui.longrun import open_rolling
from tui.output import say
from tui.pipeline import Live
from tui.profilecheck import run_check
from tui.sink import survive
from tui.terminal import needs_terminal, run_screen, run_several
from tui.trusting import tell_and_ask

FIRST_WORD_S = 15.0
"""How long the first connection may take before the screen opens all the same."""
FIRST_OF_SEVERAL_S = 3.0
"""The same for several: the list shows which of them still keep us waiting."""


def run(options: argparse.Namespace) -> int:
    """Open the screen until it is left; every recording is complete at the end."""
    hosts = profiles_for(options.hosts, options.output)
    if options.check:
        if len(hosts) > 1:
            raise BadInput("--check", "checks one host at a time", "name one host")
        tell_and_ask(hosts, trusted=options.trust)
        return run_check(*hosts[0])
    needs_terminal("watch", f"ohmvigil record {' '.join(map(public_address, options.hosts))}")
    tell_and_ask(hosts, trusted=options.trust)
    survive()
    lives: list[Live] = []
    company = Company()
    # From here on a signal ends the screen, or the wait for it, but never the closing.
    hang_up = HangUp(ends=True)
    with Leaving(hang_up, lambda: close_all(lives)):
        try:
            for profile, title in hosts:
                lives.append(_started(options, profile, title, company))
            (_watch_one if len(lives) == 1 else _watch_several)(lives, options, hang_up)
        finally:
            close_all(lives)
    for live in lives:
        if live.is_heard and live.held:
            say(live.held)
    if len(lives) > 1:
        return tell_failures(lives)
    if lives[0].fatal is not None:
        raise lives[0].fatal
    return 0


def _started(options: argparse.Namespace, profile: Profile, title: str, company: Company) -> Live:
    recorder = None if options.no_record else open_rolling(options.output, profile, title)
    live = Live(profile, title, recorder, waits=options.wait, company=company)
    live.start()
    return live


def _watch_one(lives: list[Live], options: argparse.Namespace, hang_up: HangUp) -> None:
    (live,) = lives
    live.wait_open(FIRST_WORD_S, hang_up.stop)
    if not hang_up.stop.is_set():
        run_screen(live, options, hang_up)


def _watch_several(lives: list[Live], options: argparse.Namespace, hang_up: HangUp) -> None:
    """Without a screen if none of them can be reached: the lines at the end say why."""
    wait_any(lives, FIRST_OF_SEVERAL_S, hang_up.stop)
    if not hang_up.stop.is_set() and not all_failed(lives):
        run_several(lives, options, hang_up)
