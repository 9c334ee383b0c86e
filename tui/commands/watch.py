"""`ohmvigil watch`: the live screen on a real host."""

import argparse

from tui.hangup import HangUp
from tui.hosts import profile_for
from tui.longrun import open_rolling
from tui.pipeline import Live
from tui.profilecheck import run_check
from tui.terminal import needs_terminal, run_screen

FIRST_WORD_S = 15.0
"""How long the first connection may take before the screen opens all the same."""


def run(options: argparse.Namespace) -> int:
    """Open the screen on a host until it is left."""
    profile, title = profile_for(options.host)
    if options.check:
        return run_check(profile, title)
    needs_terminal("watch", f"ohmvigil record {options.host}")
    recorder = None if options.no_record else open_rolling(options.output, profile, title)
    live = Live(profile, title, recorder)
    # From here on a signal ends the screen, or the wait for it, but never the closing.
    hang_up = HangUp(ends=True)
    live.start()
    try:
        live.wait_open(FIRST_WORD_S, hang_up.stop)
        if not hang_up.stop.is_set():
            run_screen(live, options, hang_up)
    finally:
        live.close()
    if live.fatal is not None:
        raise live.fatal
    return 0
