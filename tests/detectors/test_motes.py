"""Real sensors: four wireless motes, 5 s apart, in steps of 0.01 °C (tests/data/motes/SOURCE.md).

There are no wiring faults in them: what is said outside the labelled stretches is a
false alarm, and a quarter to two fifths of readings that repeat are no frozen sensor.
"""

import csv
from pathlib import Path

from detectors.engine.watch import Watch
from shared.updates import Update, batch_of

MOTES = Path(__file__).parents[1] / "data" / "motes" / "motes.csv"
LABELLED_S = {"mote1": (11_715.0, 12_295.0), "mote4": (11_805.0, 11_960.0)}
MINE = {"spike", "step", "contact-break", "bit-flip", "frozen", "stale", "joint-jump", "code-high"}


def test_nothing_is_said_of_healthy_motes() -> None:
    """Seven hours of four sensors: no event outside the stretches that are labelled."""
    with MOTES.open(encoding="utf-8", newline="") as file:
        updates = [
            Update(float(row.pop("time_s")), {key: float(v) for key, v in row.items() if v})
            for row in csv.DictReader(file)
        ]
    assert len(updates) > 5_000
    watch = Watch({})
    watch.feed(batch_of(updates))
    watch.finish()
    for event in watch.events:
        if event.kind in MINE:
            from_s, until_s = LABELLED_S[event.channel]
            assert from_s <= event.start_s <= until_s, event.text
