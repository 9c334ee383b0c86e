"""What every view is given for one drawing."""

from dataclasses import dataclass

from tui.glyphs import ASCII, UNICODE, Glyphs
from tui.history import History
from tui.snapshot import Snapshot
from tui.state import ScreenState


@dataclass(frozen=True, slots=True)
class ScreenFrame:
    now: Snapshot
    state: ScreenState
    history: History
    glyphs: Glyphs


def glyphs_for(ascii_only: bool) -> Glyphs:
    return ASCII if ascii_only else UNICODE
