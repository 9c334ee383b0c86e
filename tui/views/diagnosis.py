"""View 3: ranked causes with their evidence, the next check, and what could not be judged."""

from shared.events import Check, NotEvaluated, RankedCause
from shared.words import channel_word
from tui.board import Board, Ink, Rect
from tui.lines import UNLIKELY, effort_words, first_lines
from tui.views.frame import ScreenFrame
from tui.views.hint import cause_name
from tui.views.text import Line, paint_lines

LABEL = 10
FULL = 3
"""Causes a channel that are shown with their evidence."""
FOR_SHOWN, AGAINST_SHOWN = 5, 3


def paint_diagnosis(board: Board, area: Rect, frame: ScreenFrame) -> None:
    paint_lines(board, area, diagnosis_lines(frame), LABEL, frame.state)


def diagnosis_lines(frame: ScreenFrame) -> list[Line]:
    """Per channel: causes, then its check; then what was not evaluated."""
    now = frame.now
    lines = [Line("verdict", f"{now.verdict.severity}: {now.verdict.text}", Ink.STRONG)]
    for channel in dict.fromkeys(cause.channel for cause in now.causes):
        ranked = [cause for cause in now.causes if cause.channel == channel]
        lines.append(Line("", ""))
        lines.append(Line(channel_word(channel), "most likely", Ink.DIM, Ink.STRONG))
        likely = [cause for cause in ranked if cause.probability >= UNLIKELY] or ranked[:1]
        told: set[str] = set()
        for cause in likely[:FULL]:
            lines += _cause(cause, told)
        lines += [Line("first", line, Ink.STRONG, Ink.ALARM) for line in first_lines(ranked)]
        check = next((cause.next_check for cause in ranked if cause.next_check), None)
        if check is not None:
            lines += _check(check)
        rest = [f"{cause_name(cause)} {cause.probability:.0%}" for cause in likely[FULL:]]
        if rest:
            lines.append(Line("less so", ", ".join(rest)))
    lines += _blind(now.not_evaluated)
    if now.assumed:
        lines += [Line("", "")]
        lines += [Line("facts", text) for text in now.assumed]
    return lines


def _cause(cause: RankedCause, told: set[str]) -> list[Line]:
    """A cause with its evidence; what speaks for a likelier one as well is told there."""
    name = Line(f"{cause.probability:8.0%}", cause_name(cause), Ink.STRONG, Ink.STRONG)
    fresh = [text for text in cause.evidence_for[:FOR_SHOWN] if text not in told]
    told.update(fresh)
    evidence = [Line("     for", text) for text in fresh]
    against = [Line(" against", text) for text in cause.evidence_against[:AGAINST_SHOWN]]
    return [name, *evidence, *against]


def _check(check: Check) -> list[Line]:
    lines = [
        Line("next", f"{check.do} ({effort_words(check)})", Ink.PLAIN, Ink.STRONG),
        Line("look for", check.look_for),
    ]
    if check.caution:
        lines.append(Line("mind", check.caution, Ink.PLAIN, Ink.ALARM))
    return lines


def _blind(items: tuple[NotEvaluated, ...]) -> list[Line]:
    """Reasons that several channels share are said once."""
    grouped: dict[tuple[str, str], list[str]] = {}
    for item in items:
        grouped.setdefault((item.kind, item.why), []).append(item.channel)
    if not grouped:
        return []
    lines = [Line("", ""), Line("blind to", "not evaluated, so silence says nothing", Ink.DIM)]
    for (kind, why), channels in grouped.items():
        names = ", ".join(map(channel_word, channels))
        lines.append(Line("", f"{kind} on {names}: {why}"))
    return lines
