"""From reports to events: the book, and the rules that tie reports together.

Reports wait until a batch has been seen by all detectors; then they are booked in the order
of the log, with windows shown to the rules where they close.
"""

import math
from collections.abc import Callable, Iterator, Sequence

from detectors.book import EventBook
from detectors.chain.chainwatch import ChainWatch
from detectors.detector import Rule
from detectors.kinds.rest import RestRule
from detectors.reports import Cleared, Report, Sighting
from detectors.table.closed import Together
from detectors.table.frame import Frame, Row
from shared.events import Event, NotEvaluated
from shared.words import Gate, Kind

GateAt = Callable[[str, int], Gate]
"""What a channel was doing at a row; what the machine was, for a channel without rows."""


class Bookkeeper:
    """Takes reports with `say`, and books them when told to `settle`."""

    def __init__(self, rules: Sequence[Rule], chainwatch: ChainWatch, gate_at: GateAt) -> None:
        self.book = EventBook(gate_at=gate_at)
        self._rules = rules
        self._rest = next(rule for rule in rules if isinstance(rule, RestRule))
        self._chainwatch = chainwatch
        self._reports: list[Report] = []
        self._flags_moving: dict[str, list[int]] = {}

    def say(self, report: Report) -> None:
        self._reports.append(report)

    def settle(
        self,
        rows: Row | Frame | None,
        closed: Together | None,
        now_s: float,
    ) -> None:
        """Book the waiting reports and show windows to the rules, all in log order.

        `closed` holds the windows that closed meanwhile.

        `rows` are where the reports come from; `now_s` is NaN where the log's time is not known.
        """
        # Of one row, reports stay in the order in which they were made.
        self._reports.sort(key=lambda report: report.row)
        waiting = iter(self._reports)
        report = next(waiting, None)
        for windows in closed or ():
            last_row, end_s = windows.last_row, windows.end_s
            while report is not None and report.row <= last_row:
                self._take(report, rows)
                report = next(waiting, None)
            for rule in self._rules:
                rule.advance(end_s, self.book)
                rule.window(windows, self.book)
            self._chainwatch.window(windows, self._rest.resting)
        while report is not None:
            self._take(report, rows)
            report = next(waiting, None)
        self._reports.clear()
        if now_s == now_s:
            for rule in self._rules:
                rule.advance(now_s, self.book)

    def finish(self, now_s: float) -> None:
        self.settle(None, None, now_s)
        for rule in self._rules:
            rule.finish(self.book)

    def not_evaluated(self) -> Iterator[NotEvaluated]:
        for rule in self._rules:
            yield from rule.not_evaluated()

    def _take(self, report: Report, rows: Row | Frame | None) -> None:
        context = _context(rows, report.row)
        for rule in self._rules:
            rule.advance(report.at_s, self.book)
        event: Event | None = None
        if isinstance(report, Sighting):
            if report.kind is Kind.CONVERTER_FLAG:
                self._flag_motion(report, context)
            event = self.book.sight(report)
        elif isinstance(report, Cleared):
            event = self.book.clear(report)
        for rule in self._rules:
            rule.taken(report, event, context, self.book)

    def _flag_motion(self, report: Sighting, context: dict[str, float]) -> None:
        """Say in which share of a channel's flags the carriage moved: texts do not show it."""
        speed = context.get("motion.speed_mm_s", math.nan)
        if speed == speed:
            tally = self._flags_moving.setdefault(report.channel, [0, 0])
            tally[0] += 1
            tally[1] += speed > 0.0
            report.facts["moving"] = tally[1] / tally[0]


def _context(rows: Row | Frame | None, row: int) -> dict[str, float]:
    """Motion, fan, power and target keys at a row."""
    if rows is None:
        return {}
    if isinstance(rows, Row):
        context = dict(rows.context)
        for name, sample in rows.channels.items():
            context[f"{name}.power"] = sample.power
            context[f"{name}.target_c"] = sample.target_c
        return context
    index = min(max(row - rows.first_row, 0), len(rows) - 1)
    if index < 0:
        return {}
    context = {key: float(values[index]) for key, values in rows.context.items()}
    for name, columns in rows.channels.items():
        context[f"{name}.power"] = float(columns.power[index])
        context[f"{name}.target_c"] = float(columns.target_c[index])
    return context
