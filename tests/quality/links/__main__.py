"""Are causes of a bad link told apart, and is the diagnosis as sure as it may be?

    python -m tests.quality.links [--report] [--each N] [--workers N] [--wrong]

Without --report the tuning draws are used. A case counts as right where its true cause leads; one
that is none of the table's is right where the unknown cause leads, or where it is told as a
restart, which asks for no cause.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence

from detectors.diagnosis.table import words_of
from shared.words import Cause
from tests.quality.calibration import Bin, expected_error, fitted_temperature, reliability
from tests.quality.diagnosis import reliability_table
from tests.quality.intervals import share_interval
from tests.quality.links.draws import CASES
from tests.quality.links.judging import Outcome, judged
from tests.quality.pool import shared_out

TUNING_SEED = 41_000
REPORTING_SEED = 870_000
EACH = 40
LEAST_RIGHT, MOST_ERROR, MOST_BLIND = 0.9, 0.05, 0.6


def outcomes(seed: int, each: int, workers: int) -> list[Outcome]:
    tasks = [(case, seed + k) for case in CASES for k in range(each)]
    return list(shared_out(judged, tasks, workers, "links"))


def bins_of(found: Sequence[Outcome]) -> list[Bin]:
    said = [each for each in found if each.raw is not None]
    odds = [each.odds() for each in said]
    leading = [o[each.leading] for o, each in zip(odds, said, strict=True)]
    return reliability(leading, [each.is_right for each in said])


def summary(found: Sequence[Outcome]) -> Iterator[str]:
    """The figures, each beside what is asked of it."""
    told = [each for each in found if _is_told(each)]
    yield f"draws: {len(found)}, of which {len(found) - len(told)} raise nothing"
    yield _share("leading right", sum(o.is_right for o in told), len(told), f"≥ {LEAST_RIGHT}")
    yield _share("finding in fitting words", sum(o.is_told for o in told), len(told), "all")
    apart = sum(not each.is_one for each in told)
    yield f"restart and loss told as two: {apart} (asked 0)"
    error = expected_error(bins_of(found))
    said = [each for each in found if each.raw is not None]
    yield f"expected calibration error: {error:.3f} of {len(said)} (asked ≤ {MOST_ERROR})"
    fitted = fitted_temperature(
        [each.raw for each in said if each.raw is not None], [each.cause for each in said]
    )
    yield f"temperature that would fit these draws: {fitted:.2f}"
    blind = [o.odds()[Cause.NETWORK] for o in said if o.cause is not Cause.NETWORK]
    yield f"most said of network where it is not: {max(blind):.2f}"


def _is_told(each: Outcome) -> bool:
    return each.raw is not None or each.as_restart


def _share(what: str, hits: int, of: int, asked: str) -> str:
    low, high = share_interval(hits, of)
    return f"{what}: {hits} of {of}, {hits / max(of, 1):.3f} ({low:.3f}–{high:.3f}; asked {asked})"


def by_case(found: Sequence[Outcome]) -> Iterator[str]:
    """A Markdown table: what each case is told as."""
    yield "| case | true | draws | nothing told | right | finding told | taken for | next check |"
    yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
    for case in CASES:
        mine = [each for each in found if each.case == case]
        told = [each for each in mine if _is_told(each)]
        right = sum(each.is_right for each in told)
        wrong = Counter(words_of(o.leading) for o in told if not o.is_right and o.raw is not None)
        wrong["a restart"] += sum(o.as_restart and not o.is_right for o in told)
        taken = ", ".join(f"{name} {count}" for name, count in (+wrong).most_common()) or "–"
        checks = Counter(each.check for each in told if each.check)
        check = checks.most_common(1)[0][0] if checks else "–"
        cause = words_of(mine[0].cause) if mine[0].cause else "none of the table"
        yield (
            f"| {case} | {cause} | {len(mine)} | {len(mine) - len(told)} | {right} | "
            f"{sum(each.is_told for each in told)} | {taken} | {check} |"
        )


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.quality.links")
    parser.add_argument("--report", action="store_true", help="use the reporting draws")
    parser.add_argument("--each", type=int, default=EACH, help="draws of each case")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--wrong", action="store_true", help="list what is told wrongly")
    options = parser.parse_args()
    seed = REPORTING_SEED if options.report else TUNING_SEED
    found = outcomes(seed, options.each, options.workers)
    print(*summary(found), "", *by_case(found), "", *reliability_table(bins_of(found)), sep="\n")
    if options.wrong:
        for each in found:
            if _is_told(each) and not (each.is_right and each.is_told and each.is_one):
                lead = "restart" if each.raw is None else words_of(each.leading)
                print(f"{each.case} ({each.way}): {lead}: {each.text}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
