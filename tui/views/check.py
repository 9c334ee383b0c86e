"""The check guide: caution first, then steps, live ohms, marks, counts, what was found."""

from shared.words import channel_word
from tui.bigdigits import ohms_text, paint_big
from tui.board import SELECTED, Board, Ink, Rect, wrap
from tui.guide import OUTCOME_KEYS, Guide, GuideStage
from tui.views.frame import ScreenFrame

LABEL = 9
LISTED = 8
"""Checks of the list that are shown around the chosen one."""
LEAST_DIGITS = 5


def paint_check(board: Board, area: Rect, frame: ScreenFrame) -> None:
    guide = frame.state.guide
    if guide is None:
        board.wrapped(area, "No check is open: e in the causes view opens the next one.")
        return
    where = guide.channel
    if guide.about != guide.channel:
        where = f"{channel_word(guide.about)}, seen on {guide.channel}"
    board.text(area.x, area.y, f"{where}: {guide.item.title}", Ink.STRONG, area.width)
    inner = Rect(area.x, area.y + 1, area.width, area.height - 1)
    if guide.stage is GuideStage.CHOOSE:
        _paint_choice(board, inner, guide)
    else:
        _paint_running(board, inner, guide)


def _labelled(board: Board, area: Rect, y: int, label: str, text: str, ink: int = Ink.PLAIN) -> int:
    """A paragraph beside its label; the row after it."""
    bottom = area.y + area.height
    if y >= bottom or not text:
        return y
    label_ink = Ink.ALARM if label == "mind" else Ink.STRONG
    board.text(area.x, y, label, label_ink, LABEL - 1)
    room = Rect(area.x + LABEL, y, area.width - LABEL, bottom - y)
    return y + max(board.wrapped(room, text, ink), 1)


def _paint_choice(board: Board, area: Rect, guide: Guide) -> None:
    """What to mind comes before the first step."""
    item = guide.item
    y = _labelled(board, area, area.y, "mind", guide.caution, Ink.STRONG)
    if item.form is not None:
        y = _labelled(board, area, y, "do", f"{item.form.do} ({item.form.effort_min:.0f} min)")
        tools = "" if item.form.tools == "none" else item.form.tools
        y = _labelled(board, area, y, "tools", tools)
    y = _labelled(board, area, y, "", "enter: I have read it, begin.  up, down: another check.")
    rows = min(area.y + area.height - y - 1, LISTED)
    first = min(max(guide.place - rows // 2, 0), max(len(guide.items) - rows, 0))
    for row, one in enumerate(guide.items[first : first + max(rows, 0)]):
        mark = "next" if one.is_next else ""
        board.text(area.x, y + 1 + row, mark, Ink.STRONG, LABEL - 1)
        board.text(area.x + LABEL, y + 1 + row, one.title, Ink.PLAIN, area.width - LABEL)
        if first + row == guide.place:
            board.fill(Rect(area.x, y + 1 + row, area.width, 1), SELECTED)


def _paint_running(board: Board, area: Rect, guide: Guide) -> None:
    lines = _lines(guide)
    needed = sum(len(wrap(text, area.width - LABEL)) or 1 for _, text, _ in lines)
    height = max(area.height - needed, LEAST_DIGITS)
    broke = guide.now_s < guide.flash_until_s
    text = ohms_text(guide.ohms, is_open=guide.is_open)
    room = Rect(area.x + 1, area.y, area.width - 16, height)
    used = paint_big(board, room, text, Ink.ALARM if broke or guide.is_open else Ink.READING)
    progress = guide.progress
    x, right = used.x + used.width + 2, area.x + area.width
    board.text(x, used.y, "Ω", Ink.STRONG)
    if progress is not None:
        told = "1 break" if progress.breaks == 1 else f"{progress.breaks} breaks"
        board.text(x, used.y + 2, told, Ink.STRONG, right - x)
        board.text(x, used.y + 3, "BREAK" if broke else "", Ink.ALARM, right - x)
    y = used.y + used.height + (height > used.height)
    for label, words, ink in lines:
        y = _labelled(board, area, y, label, words, ink)


def _lines(guide: Guide) -> list[tuple[str, str, int]]:
    """What stands below the digits: step, marks, counts, finding, outcomes, caution."""
    progress, form = guide.progress, guide.item.form
    lines: list[tuple[str, str, int]] = []
    if guide.stage is GuideStage.ANSWERED:
        told = ", ".join(f"{one.check}: {one.outcome}" for one in guide.answered)
        lines.append(("answer", f"{told or 'noted'}. esc: back to the causes.", Ink.TRUE))
    if progress is not None:
        lines.append(("now", progress.do, Ink.STRONG))
        if progress.asks:
            lines.append(("v", f"type {progress.asks}", Ink.PLAIN))
        for choice in progress.choices:
            told = f"{choice.words}  {choice.tally}".rstrip()
            mark = f"> {choice.number}" if choice.is_now else f"  {choice.number}"
            lines.append((mark, told, Ink.STRONG if choice.is_now else Ink.PLAIN))
        lines += [("", row, int(Ink.PLAIN)) for row in progress.rows]
        if progress.finding is not None:
            word = "found" if progress.finding.is_sure else "so far"
            lines.append((word, progress.finding.text, Ink.STRONG))
            if guide.stage is GuideStage.RUNNING:
                lines.append(("enter", "record it", Ink.PLAIN))
    elif form is not None:
        lines.append(("do", form.do, Ink.STRONG))
    if form is not None and guide.stage is GuideStage.RUNNING:
        words = "; ".join(
            f"{key} {outcome.words}"
            for key, outcome in zip(OUTCOME_KEYS, form.outcomes, strict=False)
        )
        lines.append(("by hand", words, Ink.DIM if progress is not None else Ink.PLAIN))
        if form.changes:
            lines.append(
                ("T", "done: start a trial, and run on; the answer comes of it", Ink.PLAIN)
            )
    if guide.stage is GuideStage.RUNNING:
        lines.append(("mind", guide.caution, Ink.DIM))
    return lines
