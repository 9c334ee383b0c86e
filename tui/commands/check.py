"""`ohmvigil check`: verifies every row of a recording; saves what is whole."""

import argparse

from recordings.check import repair, verify
from tui.output import say

FAULTS_SHOWN = 50


def run(options: argparse.Namespace) -> int:
    """Say what is damaged; 1 when something is, 0 when all is whole."""
    report = repair(options.file, options.repair) if options.repair else verify(options.file)
    for fault in report.faults[:FAULTS_SHOWN]:
        say(f"damaged: {fault}")
    if len(report.faults) > FAULTS_SHOWN:
        say(f"and {len(report.faults) - FAULTS_SHOWN} more")
    for loss in report.lost[:FAULTS_SHOWN]:
        say(f"lost: {loss}")
    if len(report.lost) > FAULTS_SHOWN:
        say(f"and {len(report.lost) - FAULTS_SHOWN} more gaps")
    counts = ", ".join(
        f"{count} {table.replace('_', ' ')}" for table, count in report.whole.items() if count
    )
    say(f"whole: {counts or 'nothing'}")
    if not report.is_sealed:
        say("of an older recorder: rows that are missing at the end cannot be told")
    if not report.is_closed:
        say("not closed: its recorder was killed, or is still writing")
    if options.repair:
        say(f"saved to {options.repair}")
    elif report.faults:
        say(f"save the rest with: ohmvigil check {options.file} --repair OUT")
    else:
        say("nothing is damaged" if not report.lost else "what is there is whole")
    return 1 if report.faults else 0
