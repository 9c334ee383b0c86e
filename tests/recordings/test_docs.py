"""What docs/recording.md tells others to ask: every query in it, on a recording and by the tools it
names."""

import re
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path

import pytest

from client.simulated.plain import updates
from client.simulated.scenario import load_scenario
from detectors.engine.watch import Watch
from recordings.reader import Recording
from recordings.schema import TABLES, VIEWS
from recordings.writer import Recorder
from shared.updates import Entry, EntryKind, batch_of
from tui.main import run

DOCS = Path(__file__).parent.parent.parent / "docs"
TEXT = (DOCS / "recording.md").read_text(encoding="utf-8")
QUERIES = [
    query
    for path in sorted(DOCS.glob("*.md"))
    for query in re.findall(r"```sql\n(.*?)```", path.read_text(encoding="utf-8"), re.DOTALL)
]


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three minutes of the loose terminal with what was found in it."""
    path = tmp_path_factory.mktemp("docs") / "night.ohmv"
    scenario = load_scenario("loose-terminal")
    recorder = Recorder(path, {"chains": dict(scenario.chains)})
    watch = Watch(scenario.chains)
    for update in updates(scenario, 1, 180.0):
        recorder.entry(Entry(update.time_s, EntryKind.MESSAGE, b"{}"))
        recorder.updates([update])
        for event in watch.feed(batch_of([update])):
            recorder.event(event)
    recorder.note(30.0, "seen", "acknowledge", {"wall_s": 1_700_000_000.0})
    recorder.close()
    return path


@pytest.fixture
def here(night: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """In the recording's folder, as the docs have it."""
    monkeypatch.chdir(night.parent)
    return night


@pytest.mark.parametrize("query", QUERIES)
def test_every_query_of_the_docs_finds_something(here: Path, query: str) -> None:
    with closing(sqlite3.connect("file:night.ohmv?mode=ro", uri=True)) as connection:
        found = connection.execute(query).fetchall()
    assert found
    command = shutil.which("sqlite3")
    if command is not None:
        done = subprocess.run(
            [command, "-readonly", str(here), query], capture_output=True, text=True, check=True
        )
        assert len(done.stdout.splitlines()) == len(found)


def test_there_are_queries() -> None:
    assert len(QUERIES) >= 3


def test_pandas_reads_a_recording_as_the_docs_say(here: Path) -> None:
    """Its table has the highs that the samples have."""
    pytest.importorskip("pandas")
    block = re.search(r"With pandas:\n\n((?:    .*\n)+)", TEXT)
    assert block is not None
    *before, last = [line.strip() for line in block[1].splitlines()]
    names: dict[str, object] = {}
    exec("\n".join([*before, f"table = {last}"]), names)
    table = names["table"]
    recording = Recording(here)
    rolled = recording.rollup("nozzle.temperature_c")
    recording.close()
    assert table["nozzle.temperature_c"].dropna().tolist() == rolled.high.tolist()  # type: ignore[index]
    names["night"].close()  # type: ignore[attr-defined]


def test_duckdb_reads_an_export_as_the_docs_say(
    here: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    duckdb = pytest.importorskip("duckdb")
    assert run(["export", "night.ohmv", "-o", str(tmp_path / "night.parquet")]) == 0
    monkeypatch.chdir(tmp_path)
    (query,) = re.findall(r"```sql duckdb\n(.*?)```", TEXT, re.DOTALL)
    found = dict(duckdb.sql(query).fetchall())
    recording = Recording(here)
    rolled = recording.rollup("nozzle.temperature_c")
    recording.close()
    for minute, high in found.items():
        inside = (rolled.start_s >= 60 * minute) & (rolled.start_s < 60 * minute + 60)
        assert high == rolled.high[inside].max()


def test_every_table_and_view_is_in_the_docs() -> None:
    for name in TABLES:
        assert f"| `{name}` |" in TEXT
    for name in VIEWS:
        assert f"`{name}`" in TEXT
