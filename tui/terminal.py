"""Opening the screen: only on a terminal, and leaving it as it was found."""

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from shared.errors import BadInput
from tui.hangup import HangUp
from tui.output import speaks_unicode
from tui.snapshot import SnapshotSource
from tui.window import Window

if TYPE_CHECKING:
    # The screen library takes a while to import: only who shows a screen waits for it.
    from tui.app import OhmvigilApp


def is_terminal() -> bool:
    """Whether a person can see and steer a screen here."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def needs_terminal(command: str, instead: str) -> None:
    """BadInput where there is no terminal."""
    if not is_terminal():
        raise BadInput(f"ohmvigil {command}", "needs a terminal", f"try `{instead}`")
    if not sys.stderr.isatty():
        what = "draws on standard error too, which goes elsewhere"
        raise BadInput(f"ohmvigil {command}", what, f"leave out `2>`, or try `{instead}`")


def run_screen(
    source: SnapshotSource,
    options: argparse.Namespace,
    hang_up: HangUp,
    span_s: float | None = None,
) -> None:
    """Show the screen until it is left. `span_s`: what its chart shows at first.

    Signals to `hang_up` leave the screen, and stay in its hands afterwards.
    """
    from tui.app import OhmvigilApp

    app = OhmvigilApp(source, **_wishes(options))
    if span_s is not None:
        app.state.window = Window.of(span_s)
    _show(app, options, hang_up)


def run_several(
    sources: Sequence[SnapshotSource], options: argparse.Namespace, hang_up: HangUp
) -> None:
    """Show the list of hosts, and the screen of each that is opened, until it is left."""
    from tui.several import SeveralApp

    _show(SeveralApp(sources, **_wishes(options)), options, hang_up)


def _wishes(options: argparse.Namespace) -> dict[str, bool]:
    ascii_only = options.ascii or not speaks_unicode(sys.stdout)
    return {"ascii_only": ascii_only, "mouse": not options.no_mouse}


def _show(app: "OhmvigilApp", options: argparse.Namespace, hang_up: HangUp) -> None:
    hang_up.then = app.leave
    app.run(mouse=not options.no_mouse)
