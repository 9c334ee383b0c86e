"""The third physics in the bench: `python -m tests.quality.otherwise.bench [--hours H] [--logs N]`.

Logs are written as plain CSV and read back as a stranger's would be, without chain facts.
"""

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

from detectors.engine.watch import Watch
from recordings.plain_log import read_plain_log
from shared.events import Event
from shared.words import EVERY_CHANNEL, Kind, Severity
from tests.quality.otherwise.faults import FAULTS
from tests.quality.otherwise.log import Truth
from tests.quality.otherwise.make import faulty, healthy

EARLY_S, LATE_S = 5.0, 120.0
LONG = ("drift", "interference")
HOURS, LONG_HOURS = 3.0, 6.0


def judged(path: Path) -> list[Event]:
    """Events of a plain log, absorbed ones left out."""
    watch = Watch()
    for batch in read_plain_log(path).batches():
        watch.feed(batch)
    watch.finish()
    return [event for event in watch.events if event.absorbed_by is None]


def meets(event: Event, truth: Truth) -> bool:
    """Whether an event is of the label's kind, on its channel and in its time."""
    end_s = float("inf") if event.end_s is None else event.end_s
    return (
        event.kind == truth.kind
        and (truth.channel == EVERY_CHANNEL or event.channel in (truth.channel, EVERY_CHANNEL))
        and event.start_s <= truth.end_s + LATE_S
        and end_s >= truth.start_s - EARLY_S
    )


def recall(kind: str, seed: int, folder: Path) -> tuple[int, list[str]]:
    """Labels of a log with one fault of a kind, and those that were missed."""
    path = folder / f"{kind}-{seed}.csv"
    truths = faulty(seed, path, (kind,), LONG_HOURS if kind in LONG else HOURS)
    events = judged(path)
    path.unlink()
    missed = [
        f"{kind} {truth.channel}: {truth.size}, seed {seed}"
        for truth in truths
        if not any(meets(event, truth) for event in events)
    ]
    return len(truths), missed


def false_alarms(seed: int, folder: Path) -> tuple[float, Counter[str], Counter[str]]:
    """Hours of a healthy log, its alarms and its notices by kind."""
    path = folder / f"healthy-{seed}.csv"
    hours, jumps = healthy(seed, path)
    events = judged(path)
    path.unlink()
    # A clock that was set is no false alarm, told once for each time.
    clock = [event for event in events if event.kind is Kind.HOST_CLOCK][:jumps]
    events = [event for event in events if event not in clock]
    notices = Counter(str(e.kind) for e in events if e.severity is Severity.NOTICE)
    return hours, Counter(str(e.kind) for e in events if e.severity is not Severity.NOTICE), notices


def report(hours: float, logs: int, seed: int) -> None:
    """Print recall by kind and false alarms."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for kind in FAULTS:
            total, lost = 0, list[str]()
            for k in range(logs):
                count, missed = recall(kind, seed + k, folder)
                total += count
                lost += missed
            print(f"third physics, {kind:<18} {total - len(lost)}/{total}  {'; '.join(lost)}")
        seen, alarms, notices = 0.0, Counter[str](), Counter[str]()
        while seen < hours:
            more, one, two = false_alarms(seed, folder)
            seen, seed = seen + more, seed + 1
            alarms += one
            notices += two
        rate = 100.0 * sum(alarms.values()) / max(seen, 1.0)
        print(f"third physics, healthy: {seen:.0f} h, {rate:.2f} false alarms per 100 h", end=" ")
        print(f"{dict(alarms)}, notices {dict(notices)}")


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.quality.otherwise.bench")
    parser.add_argument("--hours", type=float, default=100.0, help="healthy hours")
    parser.add_argument("--logs", type=int, default=3, help="logs of each fault")
    parser.add_argument("--seed", type=int, default=5000)
    options = parser.parse_args()
    report(options.hours, options.logs, options.seed)
    return 0


if __name__ == "__main__":
    sys.exit(main())
