"""`ohmvigil ohms`: what a multimeter should read at a sensor's plug."""

from tui.ohms import run

__all__ = ["run"]
