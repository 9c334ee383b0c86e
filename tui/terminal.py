"""Opening the screen: only on a terminal, and leaving it as it was found."""

import argparse
import sys

from shared.errors import BadInput
from tui.output import speaks_unicode
from tui.snapshot import Source


def is_terminal() -> bool:
    """Whether a person can see and steer a screen here."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def needs_terminal(command: str, instead: str) -> None:
    """BadInput where there is no terminal."""
    if not is_terminal():
        raise BadInput(f"ohmvigil {command}", "needs a terminal", f"try `{instead}`")


def run_screen(source: Source, options: argparse.Namespace) -> None:
    """Show the screen until it is left."""
    from tui.app import OhmvigilApp

    ascii_only = options.ascii or not speaks_unicode(sys.stdout)
    mouse = not options.no_mouse
    OhmvigilApp(source, ascii_only=ascii_only, mouse=mouse).run(mouse=mouse)
