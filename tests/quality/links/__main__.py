"""Are causes of a bad link told apart, and is the diagnosis as sure as it may be?

    python -m tests.quality.links [--report] [--each N] [--workers N] [--wrong]

Without --report the tuning draws are used. A case counts as right where its true cause leads; one
that is none of the table's is right where the unknown cause leads, or where it is told as a
restart, which asks for no cause.
"""

import argparse
import sys

from detectors.diagnosis.table import words_of
from tests.quality.links.figures import (
    EACH,
    REPORTING_SEED,
    TUNING_SEED,
    is_told,
    outcomes,
    section,
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
    print(*section(found), sep="\n")
    if options.wrong:
        for each in found:
            if is_told(each) and not (each.is_right and each.is_told):
                lead = "restart" if each.raw is None else words_of(each.leading)
                print(f"{each.case} ({each.way}): {lead}: {each.text}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
