"""Is the diagnosis right, and as sure as it says?

    python -m tests.quality.diagnosis [--report] [--each N] [--workers N] [--diagram FILE]

Without --report the tuning draws are used, and the temperature is fitted on them.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from client.simulated.plain import updates
from detectors.diagnosis.case import Case, cases, number
from detectors.diagnosis.checks import CATALOGUE
from detectors.diagnosis.diagnose import RIVAL, SPLITS, diagnose
from detectors.diagnosis.evidence import facts_of
from detectors.diagnosis.rank import TEMPERATURE, Odds, doubted, evidence_of, posterior, tempered
from detectors.diagnosis.table import Candidate, words_of
from detectors.engine.watch import Watch
from shared.circuit import Lead
from shared.events import Event
from shared.updates import batch_of
from shared.words import Kind
from tests.quality.calibration import (
    Bin,
    draw_diagram,
    expected_error,
    fitted_temperature,
    reliability,
)
from tests.quality.draws import PLANS, draw
from tests.quality.intervals import share_interval
from tests.quality.pool import shared_out

TUNING_SEED = 2_000
REPORTING_SEED = 420_000
EACH = 40
"""Draws of each cause."""
LEAST_FIRST, LEAST_THREE, MOST_ERROR, LEAST_SPLIT = 0.93, 0.98, 0.05, 0.9
LEAST_CELL = 0.85


@dataclass(frozen=True, slots=True)
class Outcome:
    """One draw, judged. `raw` is None where no event on the right channel asks for a cause."""

    cause: Candidate
    appearance: str
    raw: Odds | None
    """Probabilities before temperature and doubt."""
    check: str
    """The check that was proposed."""
    cell: tuple[int, str] = (2, "Pt100")
    """Wires and element."""
    lead: str = ""
    """The bad lead, in words; empty where none is."""
    way: int = 0
    """Which way its jumps go by the circuit: 1 up, -1 down."""
    seen_up: int = 0
    seen_down: int = 0
    """Jumps and ends that were found either way."""

    def odds(self, temperature: float = TEMPERATURE) -> Odds:
        assert self.raw is not None
        return doubted(tempered(self.raw, temperature))

    def order(self) -> list[Candidate]:
        odds = self.odds()
        return sorted(odds, key=lambda cause: -odds[cause])

    def is_split(self) -> bool | None:
        """Whether the check tells the leading two apart; None where one leads by far."""
        odds = self.odds()
        first, second = self.order()[:2]
        if odds[second] < RIVAL:
            return None
        form = CATALOGUE[self.check]
        pairs = zip(form.likelihoods(first), form.likelihoods(second), strict=True)
        return 0.5 * sum(abs(a - b) for a, b in pairs) >= SPLITS


def judged(task: tuple[Candidate, int]) -> Outcome:
    """Draw, simulate, detect, diagnose."""
    cause, seed = task
    drawn = draw(cause, seed)
    chains = drawn.scenario.chains
    watch = Watch(chains)
    watch.feed(batch_of(updates(drawn.scenario, seed)))
    watch.finish()
    ranked = [each for each in diagnose(watch.events, chains) if each.channel in drawn.places]
    up, down = _ways(watch.events)
    place = ranked[0].channel if ranked else ""
    raw = next((_raw(c) for c in cases(watch.events, chains) if c.channel == place), None)
    check = ranked[0].next_check if ranked else None
    lead = role_of(drawn.chain.wires, drawn.lead) if drawn.lead else ""
    return Outcome(
        cause,
        drawn.appearance,
        raw,
        check.name if check else "",
        (drawn.chain.wires, f"Pt{drawn.chain.r0_ohm:.0f}"),
        lead,
        drawn.way,
        up,
        down,
    )


def _ways(events: Sequence[Event]) -> tuple[int, int]:
    """How often the nozzle jumped up, or to the upper end, and how often down."""
    up = down = 0
    for kind in (Kind.CONTACT_BREAK, Kind.SPIKE, Kind.STEP):
        # Detectors tally these since the log began.
        last = [each for each in events if each.kind is kind and each.channel == "nozzle"][-1:]
        up += sum(int(number(each, "up") or 0.0) for each in last)
        down += sum(int(number(each, "down") or 0.0) for each in last)
    ends = [each for each in events if each.channel == "nozzle"]
    up += sum(each.count for each in ends if each.kind is Kind.CODE_HIGH)
    down += sum(each.count for each in ends if each.kind is Kind.CODE_LOW)
    return up, down


def _raw(case: Case) -> Odds:
    return posterior(evidence_of(case, facts_of(case)))


def role_of(wires: int, lead: Lead) -> str:
    """What a lead does, in words."""
    if wires == 4:
        kind, end = lead[:-1], "+" if lead.endswith("+") else "−"
        return f"{kind} {end}"
    if wires == 2:
        return "lead to terminal +" if lead == "force+" else "lead to terminal −"
    if lead == "force-":
        return "the lone end"
    return "the pair's current lead" if lead == "force+" else "the pair's sense lead"


@dataclass(frozen=True, slots=True)
class Figures:
    """Outcomes of many draws, and what they amount to."""

    outcomes: tuple[Outcome, ...]
    seed: int

    @property
    def said(self) -> list[Outcome]:
        """Those with a diagnosis."""
        return [each for each in self.outcomes if each.raw is not None]

    def within(self, places: int) -> int:
        return sum(each.cause in each.order()[:places] for each in self.said)

    def bins(self, temperature: float = TEMPERATURE) -> list[Bin]:
        odds = [each.odds(temperature) for each in self.said]
        leading = [max(each, key=lambda cause: each[cause]) for each in odds]
        right = [one.cause == lead for one, lead in zip(self.said, leading, strict=True)]
        return reliability([each[lead] for each, lead in zip(odds, leading, strict=True)], right)

    def fitted(self) -> float:
        raw = [each.raw for each in self.said if each.raw is not None]
        return fitted_temperature(raw, [each.cause for each in self.said])


def figures(seed: int, each: int, workers: int) -> Figures:
    tasks = [(cause, seed + k) for cause in PLANS for k in range(each)]
    return Figures(tuple(shared_out(judged, tasks, workers, "diagnosis")), seed)


def summary(found: Figures) -> Iterator[str]:
    """The figures, each beside what is asked of it."""
    said, cases_ = len(found.said), len(found.outcomes)
    yield f"draws: {cases_}, of which {cases_ - said} raise nothing on the right channel"
    yield _share("leading cause right", found.within(1), said, f"≥ {LEAST_FIRST}")
    yield _share("among the first three", found.within(3), said, f"≥ {LEAST_THREE}")
    error = expected_error(found.bins())
    before = expected_error(found.bins(1.0))
    yield f"expected calibration error: {error:.3f} (asked ≤ {MOST_ERROR}; {before:.3f} untempered)"
    yield f"temperature: {TEMPERATURE:g} in the table; {found.fitted():.3f} would fit these draws"
    splits = [split for each in found.said if (split := each.is_split()) is not None]
    yield _share("check splits the leading two", sum(splits), len(splits), f"≥ {LEAST_SPLIT}")
    share, hits, of, cell = min(_cells(found))
    del share
    yield _share(f"worst of wires and element ({cell})", hits, of, f"≥ {LEAST_CELL}")
    strange = [each for each in found.said if each.cause is None]
    leads = sum(each.order()[0] is None for each in strange)
    yield _share("unknown leads where the table has no cause", leads, len(strange), "it leads")


def _share(what: str, hits: int, of: int, asked: str) -> str:
    low, high = share_interval(hits, of)
    return f"{what}: {hits} of {of}, {hits / max(of, 1):.3f} ({low:.3f}–{high:.3f}; asked {asked})"


def _cells(found: Figures) -> list[tuple[float, int, int, str]]:
    """Share, hits, cases and name of every cell of wires and element."""
    cells = []
    for cell in sorted({each.cell for each in found.said}):
        mine = [each for each in found.said if each.cell == cell]
        hits = sum(each.order()[0] == each.cause for each in mine)
        cells.append((hits / len(mine), hits, len(mine), f"{cell[0]} wires, {cell[1]}"))
    return cells


def by_cell(found: Figures) -> Iterator[str]:
    """A Markdown table: leading cause right by wires and element."""
    yield "| wires, element | cases | leading |"
    yield "| --- | --- | --- |"
    for share, _, of, cell in _cells(found):
        yield f"| {cell} | {of} | {share:.3f} |"


def by_lead(found: Figures) -> Iterator[str]:
    """A Markdown table: which way jumps of a bad lead go, by the circuit and as found."""
    yield "| wires | lead | circuit | draws | most jumps that way | nothing found | leading |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    rows = sorted({(each.cell[0], each.lead, each.way) for each in found.outcomes if each.lead})
    for wires, lead, way in rows:
        mine = [o for o in found.outcomes if (o.cell[0], o.lead, o.way) == (wires, lead, way)]
        told = [each for each in mine if each.seen_up + each.seen_down]
        right = sum((each.seen_up - each.seen_down) * way > 0 for each in told)
        first = sum(each.raw is not None and each.order()[0] == each.cause for each in mine)
        yield (
            f"| {wires} | {lead} | {'up' if way > 0 else 'down'} | {len(mine)} | {right} of "
            f"{len(told)} | {len(mine) - len(told)} | {first} |"
        )


def by_cause(found: Figures) -> Iterator[str]:
    """A Markdown table: per cause, draws, silence, right, among three, and what it is taken for."""
    yield "| true cause | draws | nothing said | leading | first three | taken for |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for cause in PLANS:
        mine = [each for each in found.outcomes if each.cause == cause]
        said = [each for each in mine if each.raw is not None]
        orders = [each.order() for each in said]
        first = sum(order[0] == cause for order in orders)
        three = sum(cause in order[:3] for order in orders)
        wrong = Counter(words_of(order[0]) for order in orders if order[0] != cause)
        taken = ", ".join(f"{name} {count}" for name, count in wrong.most_common(3)) or "–"
        silent = len(mine) - len(said)
        yield f"| {words_of(cause)} | {len(mine)} | {silent} | {first} | {three} | {taken} |"


def reliability_table(bins: Sequence[Bin]) -> Iterator[str]:
    yield "| said | cases | mean said | right | exact 95 % |"
    yield "| --- | --- | --- | --- | --- |"
    for each in bins:
        low, high = share_interval(each.right, each.cases)
        yield (
            f"| {each.low:.1f}–{each.high:.1f} | {each.cases} | {each.said:.3f} | "
            f"{each.share:.3f} | {low:.3f}–{high:.3f} |"
        )


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.quality.diagnosis")
    parser.add_argument("--report", action="store_true", help="use the reporting draws")
    parser.add_argument("--each", type=int, default=EACH, help="draws of each cause")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--diagram", type=Path, help="write the reliability diagram here (SVG)")
    options = parser.parse_args()
    seed = REPORTING_SEED if options.report else TUNING_SEED
    found = figures(seed, options.each, options.workers)
    print(*summary(found), "", *by_cause(found), "", *by_cell(found), "",
          *by_lead(found), "", *reliability_table(found.bins()), sep="\n")  # fmt: skip
    if options.diagram:
        draw_diagram(found.bins(), options.diagram)
    return 0


if __name__ == "__main__":
    sys.exit(main())
