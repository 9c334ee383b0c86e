"""The leading hint: most likely cause, why, the next check and what to mind."""

from detectors.diagnosis.verdict import CLEAR
from shared.events import RankedCause
from shared.words import channel_word
from tui.board import Board, Ink, Rect, wrap
from tui.snapshot import Snapshot
from tui.views.frame import ScreenFrame

LABEL = 6
STOP_ROWS = 2
LEAST = 2
"""Rows in which a check has room beside its cause."""


def cause_name(cause: RankedCause) -> str:
    return cause.cause or "none of the known causes"


def leading(now: Snapshot) -> RankedCause | None:
    """The first cause that is clear enough to be named, of channels where more is wrong than is
    shelved."""
    loud = [cause for cause in now.causes if cause.channel not in now.quiet]
    named = (each for each in loud if each.cause is not None and each.probability >= CLEAR)
    return next(named, None)


def paint_hint(board: Board, area: Rect, frame: ScreenFrame) -> None:
    """What to do at once, cause and why, then the check, then the caution, whole if it can be."""
    now = frame.now
    if now.verdict.stop:
        room = Rect(area.x, area.y, area.width, STOP_ROWS)
        used = board.wrapped(room, now.verdict.stop, Ink.ALARM)
        area = Rect(area.x, area.y + used, area.width, area.height - used)
    cause = leading(now)
    width = area.width - LABEL
    if cause is None:
        board.text(area.x, area.y, "hint", Ink.DIM)
        board.wrapped(Rect(area.x + LABEL, area.y, width, area.height), now.verdict.text)
        return
    board.text(area.x, area.y, f"{cause.probability:4.0%}", Ink.STRONG)
    x = board.text(
        area.x + LABEL,
        area.y,
        f"{channel_word(cause.channel)}: {cause_name(cause)}",
        Ink.STRONG,
        width,
    )
    if cause.evidence_for:
        why = "; ".join(cause.evidence_for)
        board.text(x, area.y, f" - {why}", Ink.PLAIN, area.x + area.width - x)
    check = cause.next_check
    if check is None or area.height < LEAST:
        return
    words = f"{check.do} ({check.effort_min:.0f} min)"
    least = min(len(wrap(words, width)), max((area.height - 1) // 2, 1))
    kept = min(len(wrap(check.caution, width)), area.height - 1 - least)
    do = Rect(area.x + LABEL, area.y + 1, width, area.height - 1 - kept)
    board.text(area.x, do.y, "next", Ink.STRONG)
    more = f"{words} Look for: {check.look_for}"
    if len(wrap(more, width)) <= do.height:
        words = more
    elif len(wrap(words, width)) > do.height:
        words = f"({check.effort_min:.0f} min) {check.do}"
    used = board.wrapped(do, words)
    if kept:
        board.text(area.x, do.y + used, "mind", Ink.ALARM)
        board.wrapped(Rect(do.x, do.y + used, width, kept), check.caution)
