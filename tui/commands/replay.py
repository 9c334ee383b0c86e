"""`ohmvigil replay`: the screen over a recording or a plain log."""

import argparse

from recordings.logs import open_log
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
    source.start()
    try:
        run_screen(source, options)
    finally:
        source.close()
    return 0
