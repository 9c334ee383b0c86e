"""View 6: trials as a table, and faults over exposure as a staircase."""

from itertools import groupby

import numpy as np

from detectors.trials.compared import TrialOutcome
from detectors.trials.counted import KindTrial, outcome_words
from shared.words import channel_word
from tui import raster
from tui.board import Board, Ink, Rect, shown_width
from tui.raster import COLUMN_DOTS, Columns
from tui.trial_lines import exposure_words, rate_words, ratio_words
from tui.views.frame import ScreenFrame

OUTCOME_INK = {
    TrialOutcome.BETTER: Ink.TRUE,
    TrialOutcome.WORSE: Ink.ALARM,
    TrialOutcome.TOO_EARLY: Ink.DOUBTFUL,
}
NAME, EXPOSURE, RATE, RATIO = 26, 20, 22, 24
LABEL = 7
LEAST_PLOT = 5
NOTHING = (
    "No fault has come yet that could be counted. T starts a trial when you have changed "
    "something: its faults are then held against those before."
)

Group = tuple[KindTrial, ...]


def groups(trials: tuple[KindTrial, ...]) -> list[Group]:
    """Trials of one kind on one channel, those with the most faults first."""
    found = [tuple(ones) for _, ones in groupby(trials, key=lambda one: (one.channel, one.kind))]
    return sorted(found, key=lambda group: -sum(one.count for one in group))


def paint_trials(board: Board, area: Rect, frame: ScreenFrame) -> None:
    """The table at the top, scrolled by kinds; the plot of its first kind below."""
    state = frame.state
    found = groups(frame.now.trials)
    if not found:
        board.wrapped(area, NOTHING)
        return
    state.scroll = min(max(state.scroll, 0), len(found) - 1)
    plot_rows = max(area.height // 2 - 1, LEAST_PLOT + 2)
    y, bottom = area.y, area.y + area.height - plot_rows
    for group in found[state.scroll :]:
        if y + 2 > bottom:
            board.text(area.x, bottom - 1, "more kinds below", Ink.DIM)
            break
        y = _paint_group(board, Rect(area.x, y, area.width, bottom - y), group)
    plot = Rect(area.x, bottom, area.width, plot_rows)
    _paint_plot(board, plot, found[state.scroll])


def _paint_group(board: Board, area: Rect, group: Group) -> int:
    first = group[0]
    title = f"{channel_word(first.channel)} {first.kind}"
    x = board.text(area.x, area.y, title, Ink.STRONG, area.width)
    also = f"; seen as {', '.join(first.also)} too" if first.also else ""
    board.text(x + 2, area.y, f"hours {first.state}{also}", Ink.DIM, area.x + area.width - x - 2)
    y = area.y + 1
    for one in group:
        if y < area.y + area.height:
            y = _paint_trial(board, Rect(area.x, y, area.width, area.y + area.height - y), one)
    return y


def _paint_trial(board: Board, area: Rect, one: KindTrial) -> int:
    """A trial in one row where there is room for it, else in two."""
    ink = OUTCOME_INK.get(one.outcome, Ink.DIM)
    words = "" if one.outcome is TrialOutcome.FIRST else outcome_words(one)
    y, x = area.y, area.x
    board.text(x + 1, y, f"{one.trial} {one.name}", Ink.PLAIN, NAME - 2)
    x += NAME
    if one.hours <= 0.0:
        board.text(x, y, "not run in that state yet", Ink.DIM, area.width - NAME)
    else:
        board.text(x, y, f"{one.count} in {exposure_words(one)}", Ink.PLAIN, EXPOSURE - 1)
        board.text(x + EXPOSURE, y, rate_words(one), Ink.PLAIN, RATE - 1)
    x += EXPOSURE + RATE
    if area.x + area.width - x >= RATIO + shown_width(words):
        board.text(x, y, ratio_words(one), Ink.PLAIN, RATIO - 1)
        board.text(x + RATIO, y, words, ink, area.x + area.width - x - RATIO)
        return y + 1
    told = f"{words}  {ratio_words(one)}".strip()
    if not told or area.height < 2:
        board.text(x, y, words, ink, area.x + area.width - x)
        return y + 1
    board.text(area.x + NAME, y + 1, told, ink, area.width - NAME)
    return y + 2


def _paint_plot(board: Board, area: Rect, group: Group) -> None:
    """Number of faults over hours of exposure, trial after trial."""
    rows, cells = area.height - 2, area.width - LABEL - 1
    total_h = sum(one.hours for one in group)
    total = sum(one.count for one in group)
    if rows < 2 or cells < 10 or total_h <= 0.0:
        return
    count = cells * COLUMN_DOTS
    line = raster.dots(staircase(group, count), 0.0, float(max(total, 1)), rows)
    codes = raster.ascii_cells(line) if board.ascii_only else raster.cells(line)
    board.codes[area.y : area.y + rows, area.x + LABEL : area.x + LABEL + cells] = codes
    board.inks[area.y : area.y + rows, area.x + LABEL : area.x + LABEL + cells] = Ink.READING
    board.text(area.x, area.y, f"{total:>{LABEL - 1}}", Ink.DIM)
    board.text(area.x, area.y + rows - 1, f"{'0':>{LABEL - 1}}", Ink.DIM)
    border = "|" if board.ascii_only else "│"
    done_h, y = 0.0, area.y + rows
    last_end = area.x + LABEL
    for one in group:
        x = area.x + LABEL + min(int(done_h / total_h * cells), cells - 1)
        if one.trial:
            for row in range(rows):
                if board.codes[area.y + row, x] == raster.BLANK:
                    board.text(x, area.y + row, border, Ink.NOTE)
        label = f"{one.trial} {one.name} "
        at = min(x, area.x + area.width - shown_width(label))
        if at >= last_end:
            last_end = board.text(at, y, label)
        done_h += one.hours
    first = group[0]
    words = f"faults ({first.kind}) over {total_h:.2f} hours {first.state}"
    board.text(area.x + LABEL, y + 1, words, Ink.DIM, cells)


def staircase(group: Group, count: int) -> Columns:
    """Lowest and highest number of faults in each of `count` dot columns of exposure."""
    total_h = sum(one.hours for one in group)
    edges = np.linspace(0.0, total_h, count + 1)
    at_h: list[float] = []
    number: list[float] = []
    done_h, done = 0.0, 0
    for one in group:
        at_h += [done_h + at for at, _ in one.curve]
        number += [float(done + faults) for _, faults in one.curve]
        done_h += one.hours
        done += one.count
    levels = np.array([0.0, *number])
    low = levels[np.searchsorted(at_h, edges[:-1], side="right")]
    high = levels[np.searchsorted(at_h, edges[1:], side="right")]
    return Columns(low, high)
