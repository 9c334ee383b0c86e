"""`make quality`: recall, false alarms, delay and confusion on logs with known faults.

    python -m tests.quality [--report] [--hours H] [--machines N] [--only NAME]

Without --report the tuning seeds are used; the reporting seeds are other ones.
"""

import argparse
import sys
from collections import Counter

from tests.quality import score as scoring
from tests.quality.cases import faulty, healthy
from tests.quality.faults import FAULTS
from tests.quality.otherwise.bench import report as report_third
from tests.quality.score import Score

TUNING_SEED = 1000
REPORTING_SEED = 180_000
THIRD_HOURS = 40.0
"""Logs of the third physics go through a file each: slower."""


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.quality")
    parser.add_argument("--report", action="store_true", help="use the reporting seeds")
    parser.add_argument("--hours", type=float, default=120.0, help="healthy hours")
    parser.add_argument("--machines", type=int, default=16, help="cases of each fault")
    parser.add_argument("--only", action="append", help="name of a fault, 'healthy' or 'third'")
    parser.add_argument("--singly", action="store_true", help="feed as live, to time delays")
    parser.add_argument("--missed", action="store_true", help="say what was missed")
    options = parser.parse_args()
    seed = REPORTING_SEED if options.report else TUNING_SEED
    names = options.only or [*FAULTS, "healthy", "third"]
    print(f"{'fault':<24} {'found':>9} {'recall':>7} {'delay s':>9}  confused with, false alarms")
    total: Counter[str] = Counter()
    hours = 0.0
    for name in names:
        if name in ("healthy", "third"):
            continue
        result = Score()
        for case in faulty(name, seed, options.machines):
            scoring.add(result, case, singly=options.singly)
        print(_line(name, result))
        if options.missed:
            print(*(f"    {line}" for line in result.missed), sep="\n")
    if "healthy" in names:
        night = 12.0
        rounds = max(1, round(options.hours / night / 10))
        for number in range(rounds):
            result = Score()
            for case in healthy(seed + number, 10, night):
                scoring.add(result, case)
            total += result.false_alarms
            hours += result.hours
        per_100 = 100.0 * sum(total.values()) / hours
        print(f"healthy: {hours:.0f} h, {per_100:.2f} false alarms per 100 h {dict(total)}")
    if "third" in names:
        report_third(min(options.hours, THIRD_HOURS), max(options.machines // 8, 1), seed)
    return 0


def _line(name: str, result: Score) -> str:
    recall = result.found / max(result.labels, 1)
    delays = sorted(result.delays)
    middle = f"{delays[len(delays) // 2]:.2f}" if delays else "-"
    other = ", ".join(f"{kind} {count}" for kind, count in result.confused.most_common(3))
    false = ", ".join(f"{kind} {count}" for kind, count in result.false_alarms.most_common(3))
    return (
        f"{name:<24} {result.found:>4}/{result.labels:<4} {recall:>7.3f} {middle:>9}  "
        f"{other or '-'}; {false or '-'}"
    )


if __name__ == "__main__":
    sys.exit(main())
