"""Worlds drawn from wide ranges, judged: what is found, what is told wrongly, and where.

    python -m tests.quality.worlds --seed N --worlds K --hours H [--only KIND] [--missed]
    python -m tests.quality.worlds --one SEED --hours H [--only KIND] [--out FILE]

Seeds up to 99,999 are for tuning; those from 300,000 on are for reports.
"""

import argparse
import os
import sys
from pathlib import Path

from tests.quality.pool import shared_out
from tests.quality.worlds.csvlog import write_csv
from tests.quality.worlds.faults import FAULTS
from tests.quality.worlds.judging import Task, judged, told_of
from tests.quality.worlds.tables import report
from tests.quality.worlds.world import HEALTHY, make_world

NICE = 10


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.quality.worlds")
    parser.add_argument("--seed", type=int, default=0, help="of the first world")
    parser.add_argument("--worlds", type=int, default=100)
    parser.add_argument("--hours", type=float, default=4.0, help="longest log; shortest: half")
    parser.add_argument("--only", choices=[HEALTHY, *map(str, FAULTS)], help="one kind of world")
    parser.add_argument("--missed", action="store_true", help="say each miss and false alarm")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--one", type=int, help="say what is in this seed's world")
    parser.add_argument("--out", type=Path, help="with --one: the plain log to write it to")
    options = parser.parse_args()
    if not 1.0 <= options.hours <= 8.0:
        parser.error("--hours: 1 to 8")
    os.nice(NICE)
    if options.one is not None:
        return show(options.one, options.hours, options.only, options.out)
    seeds = range(options.seed, options.seed + options.worlds)
    tasks = [Task(seed, options.hours, options.only) for seed in seeds]
    outcomes = list(shared_out(judged, tasks, options.jobs, "worlds"))
    spent_s, hours = sum(each.spent_s for each in outcomes), sum(each.hours for each in outcomes)
    print(f"{len(outcomes)} worlds, {hours:.0f} h of log, {spent_s / 60:.1f} min\n")
    print(*report(outcomes, options.missed), sep="\n")
    return 0


def show(seed: int, hours: float, kind: str | None, out: Path | None) -> int:
    """Print what was drawn, planted and told in one world; write it where `out` says."""
    world = make_world(seed, hours, kind)
    if out is not None:
        write_csv(out, world.batch)
    zero_s = float(world.batch.time_s[0])
    print(f"seed {seed}: {world.kind}, {world.hours:.2f} h, {len(world.batch)} rows")
    print("drawn:", ", ".join(f"{trait} {value}" for trait, value in world.traits.items()))
    print(f"times below are from the log's first row, {zero_s:.3f} s")
    for truth in world.truths:
        label = truth.label
        print(
            f"planted: {label.kind} on {label.channel}, {label.start_s - zero_s:.1f} to "
            f"{label.end_s - zero_s:.1f} s, {truth.size}, cause {truth.cause or 'more than one'}"
        )
    events, causes = told_of(world)
    for event in events:
        end = "goes on" if event.end_s is None else f"{event.end_s - zero_s:.1f} s"
        print(
            f"told: {event.kind} on {event.channel}, {event.start_s - zero_s:.1f} s to {end}, "
            f"×{event.count}, {event.severity}, tied to {event.tied_to or 'nothing'}: {event.text}"
        )
    for cause in causes[:6]:
        why = "; ".join(cause.evidence_for)
        print(f"cause: {cause.channel} {cause.cause or 'unknown'} {cause.probability:.2f}: {why}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
