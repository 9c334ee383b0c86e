"""`ohmvigil replay`: the screen over a recording or a plain log."""

import argparse

from recordings.logs import open_log
from recordings.reader import Recording
from tui.chains import chains_from
from tui.replay import Replay
from tui.terminal import needs_terminal, run_screen


def run(options: argparse.Namespace) -> int:
    """Open the screen on a file until it is left."""
    log = open_log(options.file)
    try:
        needs_terminal("replay", f"ohmvigil judge {options.file}")
        source = Replay(log, log.path.name, chains_from(options.profile))
    except BaseException:
        log.close()
        raise
    # A plain log tells its length only once it has been read through.
    span_s = log.duration_s if isinstance(log, Recording) and log.duration_s > 0.0 else None
    source.start()
    try:
        run_screen(source, options, span_s=span_s)
    finally:
        source.close()
    return 0
