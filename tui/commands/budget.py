"""`ohmvigil budget`: what a sensor chain can and cannot measure."""

from tui.budget import run

__all__ = ["run"]
