"""`make quality`: the whole bench, and docs/quality.md.

    python -m tests.quality.full [--write FILE] [--quick] [--workers N]

Uses the reporting seeds; tuning seeds only choose the outsiders' thresholds. The same
options give the same figures, whatever the number of workers. About an hour of one core, so
half of one with two to itself; a minute or two with --quick.
"""

import argparse
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

from client.simulated.scenario import load_scenario, scenario_names
from tests.quality import diagnosis, outsiders
from tests.quality.calibration import draw_diagram
from tests.quality.faults import FAULTS
from tests.quality.hosts import Played, played
from tests.quality.links import figures as links
from tests.quality.links.judging import Outcome
from tests.quality.pool import shared_out
from tests.quality.report import page
from tests.quality.work import Chosen, Result, Tally, Task, done

TUNING_SEED, REPORTING_SEED = 1_000, 180_000
NIGHTS_A_TASK = 10
CASES_A_TASK = 8
COMPARABLE = 2.0
"""Most false alarms per 100 h that an outsider's threshold is tuned to."""
NIGHT = "healthy-night"


@dataclass(frozen=True, slots=True)
class Sizes:
    """How much is drawn."""

    cases: int = 96
    """Of each fault, of which `singly` are fed row by row and `outside` compared."""
    singly: int = 16
    outside: int = 16
    hours: float = 1080.0
    """Healthy, of which `outside_hours` are compared, and `tuning_hours` more for tuning."""
    outside_hours: float = 120.0
    tuning_hours: float = 120.0
    night_h: float = 12.0
    plays: int = 24
    """Of each scenario."""
    nights: int = 8
    draws: int = 40
    """Of each cause."""
    links: int = 60
    """Of each case of a bad link."""


QUICK = Sizes(8, 2, 2, 20.0, 20.0, 20.0, 2.0, 1, 0, 2, 2)


@dataclass(slots=True)
class Findings:
    """All that the page shows."""

    sizes: Sizes
    faults: dict[str, Result] = field(default_factory=dict)
    healthy: Result | None = None
    played: list[Played] = field(default_factory=list)
    tuned: dict[str, float] = field(default_factory=dict)
    lacking: list[str] = field(default_factory=list)
    """Packages of outsiders that are not installed."""
    causes: diagnosis.Figures | None = None
    links: list[Outcome] = field(default_factory=list)
    took_s: float = 0.0


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.quality.full")
    parser.add_argument("--write", type=Path, help="the page to write, diagram beside it")
    parser.add_argument("--quick", action="store_true", help="small, to see that it runs")
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    began_s = time.monotonic()
    found = measured(QUICK if options.quick else Sizes(), options.workers)
    found.took_s = time.monotonic() - began_s
    command = "make quality" + (" ARGS=--quick" if options.quick else "")
    diagram = options.write.with_name("reliability.svg") if options.write else None
    text = page(found, command, diagram.name if diagram else None)
    if options.write is None or diagram is None:
        print(text)
        return 0
    options.write.write_text(text, encoding="utf-8")
    assert found.causes is not None
    draw_diagram(found.causes.bins(), diagram)
    print(f"written: {options.write} and {diagram}, in {found.took_s / 60.0:.1f} min")
    return 0


def measured(sizes: Sizes, workers: int) -> Findings:
    """Draw, judge and count everything."""
    found = Findings(sizes, lacking=outsiders.missing())
    if found.lacking:
        lacking = ", ".join(found.lacking)
        print(f"no comparison: {lacking} not installed (pip install '.[quality]')", file=sys.stderr)
    else:
        found.tuned = _tuned(sizes, workers)
    chosen: Chosen = {
        each.name: (each.default, found.tuned[each.name])
        for each in outsiders.OUTSIDERS
        if each.name in found.tuned
    }
    for result in shared_out(done, _fault_tasks(sizes, chosen), workers, "faults"):
        _add(found.faults.setdefault(result.fault, result), result)
    for result in shared_out(done, _healthy_tasks(sizes, chosen), workers, "healthy nights"):
        if found.healthy is None:
            found.healthy = result
        else:
            _add(found.healthy, result)
    names = [name for name in scenario_names() if name != NIGHT]
    plays = [(name, REPORTING_SEED + k) for name in names for k in range(sizes.plays)]
    plays += [(NIGHT, REPORTING_SEED + k) for k in range(sizes.nights)]
    found.played = list(shared_out(_play, plays, workers, "scenarios"))
    found.causes = diagnosis.figures(diagnosis.REPORTING_SEED, sizes.draws, workers)
    found.links = links.outcomes(links.REPORTING_SEED, sizes.links, workers)
    return found


def _play(task: tuple[str, int]) -> Played:
    name, seed = task
    return played(name, seed, None if name == NIGHT else max(900.0, load_scenario(name).for_s))


def _tuned(sizes: Sizes, workers: int) -> dict[str, float]:
    """The mildest thresholds that keep to the false-alarm rate on healthy tuning nights."""
    grid = {each.name: each.grid for each in outsiders.OUTSIDERS}
    tasks = _nights(TUNING_SEED + 500, sizes.tuning_hours, grid, sizes.tuning_hours, sizes.night_h)
    total: dict[tuple[str, float], Tally] = {}
    for result in shared_out(done, tasks, workers, "tuning of outsiders"):
        for key, tally in result.any_kind.items():
            total.setdefault(key, Tally()).add(tally)
    chosen = {}
    for each in outsiders.OUTSIDERS:
        keeps = [limit for limit in each.grid if _rate(total[each.name, limit]) <= COMPARABLE]
        chosen[each.name] = keeps[0] if keeps else each.grid[-1]
    return chosen


def _rate(tally: Tally) -> float:
    return 100.0 * tally.alarms / tally.hours


def _fault_tasks(sizes: Sizes, chosen: Chosen) -> list[Task]:
    """Every fault in chunks of a few machines; the first chunks are also fed singly."""
    tasks = []
    for name in FAULTS:
        for chunk, first in enumerate(range(0, sizes.cases, CASES_A_TASK)):
            count = min(CASES_A_TASK, sizes.cases - first)
            singly = min(max(sizes.singly - first, 0), count)
            outside = chosen if first < sizes.outside else {}
            tasks.append(Task(name, REPORTING_SEED + chunk, count, 0.0, singly, outside))
    return tasks


def _healthy_tasks(sizes: Sizes, chosen: Chosen) -> list[Task]:
    return _nights(REPORTING_SEED, sizes.hours, chosen, sizes.outside_hours, sizes.night_h)


def _nights(
    seed: int, hours: float, chosen: Chosen, outside_hours: float, night_h: float
) -> list[Task]:
    each = night_h * NIGHTS_A_TASK
    return [
        Task("", seed + k, NIGHTS_A_TASK, night_h, 0, chosen if k * each < outside_hours else {})
        for k in range(max(round(hours / each), 1))
    ]


def _add(total: Result, more: Result) -> None:
    if total is more:
        return
    total.cases += more.cases
    total.seen += more.seen
    mine, theirs = total.score, more.score
    mine.labels += theirs.labels
    mine.found += theirs.found
    mine.hours += theirs.hours
    mine.delays += theirs.delays
    mine.missed += theirs.missed
    mine.confused += theirs.confused
    mine.false_alarms += theirs.false_alarms
    for key, tally in more.any_kind.items():
        total.any_kind.setdefault(key, Tally()).add(tally)


if __name__ == "__main__":
    sys.exit(main())
