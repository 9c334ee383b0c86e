"""A recording, its cuts and its export say of a lost reading what the live watch said."""

from pathlib import Path

from detectors.engine.watch import Watch
from recordings.cut import CutLog, around
from recordings.logs import open_log
from recordings.plain_log import read_plain_log
from recordings.plain_writer import write_plain_log
from recordings.writer import Recorder
from shared.updates import Batch, Update, batch_of, updates_of
from shared.words import Kind


def log(seconds: int = 60) -> list[Update]:
    """A nozzle whose reading is lost from 20 s to 40 s, beside a bed that goes on."""
    rows = []
    for n in range(4 * seconds):
        time_s = n / 4.0
        own = (
            {"nozzle.no_temperature_c": "null"}
            if 20.0 <= time_s < 40.0
            else {"nozzle.temperature_c": 200.0 + 0.01 * (n * 7 % 11)}
        )
        rows.append(Update(time_s, {**own, "bed.temperature_c": 60.0 + 0.01 * (n * 5 % 7)}))
    return rows


def told(batches: list[Batch]) -> list[tuple[Kind, str, float, float | None]]:
    watch = Watch()
    for batch in batches:
        watch.feed(batch)
    watch.finish()
    return [(e.kind, e.channel, e.start_s, e.end_s) for e in watch.events]


LIVE = [(Kind.STALE, "nozzle", 20.0, 40.0)]


def test_a_recording_gives_the_same_events(tmp_path: Path) -> None:
    """Word for word, update by update."""
    recorder = Recorder(tmp_path / "a.ohmv", {})
    recorder.updates(log())
    recorder.close()
    recording = open_log(tmp_path / "a.ohmv")
    batches = list(recording.batches())
    assert [update for batch in batches for update in updates_of(batch)] == log()
    assert told(batches) == LIVE
    recording.close()


def test_a_cut_begins_with_what_holds_there(tmp_path: Path) -> None:
    """The number that was lost before it does not come back."""
    write_plain_log(tmp_path / "a.csv", [batch_of(log())])
    inside = list(CutLog(open_log(tmp_path / "a.csv"), 30.0, 35.0).batches())
    assert updates_of(inside[0])[0].values.keys() == {
        "nozzle.no_temperature_c",
        "bed.temperature_c",
    }
    assert told(inside) == [(Kind.STALE, "nozzle", 30.0, None)]
    assert told(list(around([batch_of(log())], [(50.0, 55.0)]))) == []


def test_an_export_gives_the_same_events(tmp_path: Path) -> None:
    """The plain log has a column for it, since an empty cell means that the last value holds."""
    write_plain_log(tmp_path / "a.csv", [batch_of(log())])
    read = read_plain_log(tmp_path / "a.csv")
    assert "nozzle.no_temperature_c" in read.keys
    assert told(list(read.batches())) == LIVE


def test_rows_without_a_cell_do_not_bring_a_lost_reading_back(tmp_path: Path) -> None:
    """Nor does it stay lost once it came: such rows restate only what holds."""
    lines = ["time_s,nozzle.temperature_c,nozzle.no_temperature_c"]
    lines += [f"{n},{200 + n % 2},{''}" for n in range(10)]
    lines += ["10,,n/a", *(f"{n},," for n in range(11, 15)), "15,201,"]
    lines += [f"{n},," for n in range(16, 25)]
    path = tmp_path / "b.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    for rows in (1000, 3):
        assert told(list(read_plain_log(path, rows).batches())) == [
            (Kind.STALE, "nozzle", 10.0, 15.0)
        ]
