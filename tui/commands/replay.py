"""`ohmvigil replay`: the screen over a recording or a plain log."""

import argparse
from pathlib import Path

from recordings.folder import is_being_written
from recordings.reader import Recording
from recordings.several import Joined, followed, open_logs
from tui.chains import chains_from
from tui.commands.judge import name_of
from tui.hangup import HangUp
from tui.leaving import Leaving
from tui.replay import Replay
from tui.terminal import needs_terminal, run_screen


def run(options: argparse.Namespace) -> int:
    """Open the screen on a file until it is left."""
    log = open_logs(options.files)
    if isinstance(log, Recording) and is_being_written(log):
        log = followed(log)
    try:
        needs_terminal("replay", f"ohmvigil judge {' '.join(options.files)}")
        source = Replay(log, Path(name_of(log)).name, chains_from(options.profile))
    except BaseException:
        log.close()
        raise
    # A plain log tells its length only once it has been read through.
    span_s = (
        log.duration_s if isinstance(log, Recording | Joined) and log.duration_s > 0.0 else None
    )
    source.start()
    hang_up = HangUp(ends=True)
    with Leaving(hang_up, lambda: None):
        try:
            run_screen(source, options, hang_up, span_s)
        finally:
            source.close()
    return 0
