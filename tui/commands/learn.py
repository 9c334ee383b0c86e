"""`ohmvigil learn`: listens to a host whose names are not known yet and drafts a profile."""

from tui.learn import run

__all__ = ["run"]
