"""Logs for tests: drawn by hypothesis, or made from a seed."""

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import msgspec
import numpy as np
from hypothesis import strategies as st

from recordings.writer import Recorder
from shared.events import Event
from shared.text import clean
from shared.updates import Batch, Entry, EntryKind, Update, Value, batch_of, updates_of
from shared.words import Gate, Kind, Severity

NUMBER_KEYS = ("nozzle.temperature_c", "nozzle.code", "bed.power", "motion.x_mm", "Düse 1.code")
TEXT_KEYS = ("nozzle.flags", "host.state", "host.message", "bed.humidity", 'a "b",c.odd')

finite = st.floats(allow_nan=False, allow_infinity=False)
texts = st.text(st.characters(codec="utf-8"), max_size=40).map(clean).filter(bool)
values: st.SearchStrategy[dict[str, Value]] = st.fixed_dictionaries(
    {},
    optional={**dict.fromkeys(NUMBER_KEYS, finite), **dict.fromkeys(TEXT_KEYS, texts)},
)
steps = st.one_of(st.just(0.0), st.floats(0.0, 1e-9), st.floats(0.0, 30.0))


@st.composite
def logs(draw: st.DrawFn) -> list[Update]:
    """Updates whose times do not fall; some share one, some hold nothing."""
    time_s = draw(st.floats(-1e6, 1e9))
    updates = []
    for said in draw(st.lists(values, min_size=1, max_size=30)):
        time_s += draw(steps)
        updates.append(Update(time_s, said))
    return updates


def grouped(updates: list[Update], cuts: list[int]) -> list[Batch]:
    """Updates as batches, cut at some places."""
    places = sorted({cut % (len(updates) + 1) for cut in cuts} | {0, len(updates)})
    return [batch_of(updates[a:b]) for a, b in pairwise(places)]


def joined(batches: Iterable[Batch]) -> list[Update]:
    """Updates of some batches, in order."""
    return [update for batch in batches for update in updates_of(batch)]


def night(count: int, seed: int = 0) -> list[Update]:
    """A host at 4 Hz with jitter that sends what changed, as text and numbers."""
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.uniform(0.2, 0.3, count)).tolist()
    updates = []
    for index in range(count):
        said: dict[str, Value] = {
            "nozzle.temperature_c": round(float(rng.normal(210.0, 0.1)), 2),
            "nozzle.code": float(rng.integers(29260, 29280)),
        }
        if rng.random() < 0.3:
            said["bed.power"] = round(float(rng.random()), 3)
        if index % 50 == 0:
            said["nozzle.flags"] = "none" if rng.random() < 0.5 else "open;short"
        updates.append(Update(time_s[index], said))
    return updates


def entry_of(update: Update) -> Entry:
    """What a host might have sent for it."""
    return Entry(1000.0 + update.time_s, EntryKind.MESSAGE, msgspec.json.encode(update))


def finding(number: int, count: int = 1, **more: object) -> Event:
    """An event."""
    event = Event(
        id=number,
        kind=Kind.CONTACT_BREAK,
        channel="nozzle",
        start_s=12.5,
        end_s=None,
        severity=Severity.FAILURE,
        count=count,
        value=31.4,
        unit="Ω",
        text="contact opened and closed",
        gate=Gate.PRINTING,
        facts={"direction": "open", "bits": 3.0},
    )
    return msgspec.structs.replace(event, **more)


def record(path: Path, updates: list[Update], every: int = 20) -> None:
    """Record a log with entries, events, notes and everything, flushed every so many updates."""
    recorder = Recorder(path, {"title": "test", "versions": {"ohmvigil": "0"}})
    for index, update in enumerate(updates):
        recorder.entry(entry_of(update))
        recorder.updates([update])
        if index % every == every - 1:
            assert recorder.flush()
    recorder.event(finding(1))
    recorder.event(finding(1, count=3, end_s=14.0))
    recorder.event(finding(2, value=float("nan")))
    recorder.note(3.25, "tightened the terminal")
    recorder.close()
    assert recorder.trouble == ""
