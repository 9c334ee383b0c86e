"""Events as rows of a list, and one event in full."""

from shared.bursts import place_words
from shared.events import Event
from shared.when import hms, rate_words, short, spelt
from shared.words import channel_word
from tui.board import SELECTED, Board, Ink, Rect
from tui.deed_lines import left_words
from tui.fact_words import fact_words
from tui.glyphs import SEVERITY_INK, SEVERITY_LETTER
from tui.views.frame import ScreenFrame

ACKNOWLEDGED = "a"
"""Beside the severity's letter of an event that was acknowledged."""
TIME, CHANNEL, KIND, COUNT, LASTED = 8, 9, 18, 6, 5


def paint_rows(
    board: Board, area: Rect, events: list[Event], frame: ScreenFrame, selected: int | None
) -> None:
    """One event a row, as many as fit."""
    if not events:
        board.text(area.x + 1, area.y, "no events", Ink.DIM, area.width - 1)
    now = frame.now
    burst = frame.state.places(now)
    for row, event in enumerate(events[: area.height]):
        y = area.y + row
        is_shelved = event.id in now.shelved
        is_told = event.id in now.acknowledged and not event.is_active
        ink = Ink.DIM if is_shelved or event.id in now.acknowledged else Ink.PLAIN
        mark = Ink.DIM if is_shelved or is_told else SEVERITY_INK[event.severity]
        x = area.x
        board.text(x, y, SEVERITY_LETTER[event.severity], mark)
        board.text(x + 1, y, ACKNOWLEDGED if event.id in now.acknowledged else " ", ink)
        board.text(x + 2, y, hms(event.start_s).rjust(TIME), ink, TIME)
        x += 3 + TIME
        board.text(x, y, channel_word(event.channel), ink, CHANNEL - 1)
        x += CHANNEL
        board.text(x, y, event.kind, mark if event.is_active else ink, KIND - 1)
        x += KIND
        if event.count > 1:
            board.text(x, y, f"{frame.glyphs.times}{min(event.count, 9999)}", ink, COUNT - 1)
        x += COUNT
        board.text(x, y, _lasted(event), mark if event.is_active else ink, LASTED - 1)
        x += LASTED
        text = event.text
        if is_shelved:
            text = f"{left_words(now.shelved[event.id], now.now_s)}: {text}"
        elif event.id in burst and burst[event.id].is_first:
            text = f"first out: {text}"
        board.text(x, y, text, ink, area.width - x)
        if event.id == selected:
            board.fill(Rect(area.x, y, area.width, 1), SELECTED)


def _rate(event: Event, now_s: float) -> str:
    rate = event.per_hour(now_s)
    return "" if rate is None else f", {rate_words(rate)}"


def _lasted(event: Event) -> str:
    """`now` while it goes on, else how long it lasted; nothing for one moment."""
    if event.end_s is None:
        return "now"
    lasted_s = event.end_s - event.start_s
    return short(lasted_s) if lasted_s >= 1.0 else ""


def event_facts(event: Event, frame: ScreenFrame) -> list[tuple[str, int]]:
    """Everything about an event, a line a fact."""
    lasted = (
        "still going on"
        if event.end_s is None
        else "one moment"
        if event.end_s <= event.start_s
        else f"until {hms(event.end_s)}, {spelt(event.end_s - event.start_s)}"
    )
    size = f"{event.value:.6g} {event.unit}".strip()
    times = f"{event.count} times{_rate(event, frame.now.now_s)}; " if event.count > 1 else ""
    told = "; acknowledged" if event.id in frame.now.acknowledged else ""
    facts = [
        (
            f"{SEVERITY_LETTER[event.severity]} {event.severity}: {event.kind} on "
            f"{channel_word(event.channel)}",
            int(SEVERITY_INK[event.severity]),
        ),
        (event.text, int(Ink.PLAIN)),
        (
            f"from {hms(event.start_s)}, {lasted}; {times}size {size}{told}",
            int(Ink.PLAIN),
        ),
    ]
    if event.id in frame.now.shelved:
        words = left_words(frame.now.shelved[event.id], frame.now.now_s)
        facts.append((f"{words}; u takes it back", int(Ink.STRONG)))
    place = frame.state.places(frame.now).get(event.id)
    if place is not None:
        facts.append((f"in a burst: {place_words(place)}", int(Ink.PLAIN)))
    more = [f"while {event.gate}"] if event.gate else []
    if event.tied_to:
        more.append(f"tied to {event.tied_to}")
    more += fact_words(event)
    if more:
        facts.append(("; ".join(more), int(Ink.DIM)))
    return facts
