"""View 2: every event, filtered, with one in full."""

from shared.events import Event
from tui.board import Board, Ink, Rect
from tui.state import ScreenState, filtered, standing
from tui.views.event_rows import event_facts, paint_rows
from tui.views.frame import ScreenFrame

DETAIL_ROWS = 7


def chosen(frame: ScreenFrame) -> Event | None:
    """The selected event, or the newest one when none is."""
    found = filtered(frame.now, frame.state.words)
    return next((event for event in found if event.id == frame.state.selected), None) or (
        found[0] if found else None
    )


def select(state: ScreenState, found: list[Event], step: int) -> None:
    """Move the selection in a list of events."""
    if not found:
        return
    at = next((row for row, event in enumerate(found) if event.id == state.selected), 0)
    state.selected = found[min(max(at + step, 0), len(found) - 1)].id


def paint_events(board: Board, area: Rect, frame: ScreenFrame) -> None:
    now, state = frame.now, frame.state
    found = filtered(now, state.words)
    total = len(standing(now))
    words = f"{total} events" if not state.words else f"{len(found)} of {total} with: {state.words}"
    board.text(area.x, area.y, words, Ink.STRONG, area.width)
    detail = min(DETAIL_ROWS, max(area.height // 2 - 1, 3))
    rows = Rect(area.x, area.y + 1, area.width, area.height - detail - 2)
    event = chosen(frame)
    at = found.index(event) if event in found and event is not None else 0
    first = min(max(at - rows.height // 2, 0), max(len(found) - rows.height, 0))
    paint_rows(board, rows, found[first:], frame, None if event is None else event.id)
    if event is None:
        return
    y = rows.y + rows.height + 1
    bottom = area.y + area.height
    for text, ink in event_facts(event, frame):
        if y < bottom:
            y += board.wrapped(Rect(area.x + 1, y, area.width - 2, bottom - y), text, ink)
