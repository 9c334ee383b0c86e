"""Parquet, read back by the library that others read it with."""

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recordings.parquet import write_parquet
from shared.errors import BadInput
from shared.updates import Update, batch_of
from tests.levels import some
from tests.recordings.logs import NUMBER_KEYS, TEXT_KEYS, grouped, logs

parquet = pytest.importorskip("pyarrow.parquet")
KEYS = (*NUMBER_KEYS, *TEXT_KEYS)


@settings(max_examples=some(40), deadline=None)
@given(logs(), st.lists(st.integers(0, 30), max_size=3))
def test_every_value_comes_back_exactly(
    tmp_path_factory: pytest.TempPathFactory, log: list[Update], cuts: list[int]
) -> None:
    """Doubles to the last bit; null where a key is not in an update."""
    path = tmp_path_factory.mktemp("p") / "a.parquet"
    write_parquet(path, grouped(log, cuts), KEYS, {"title": "x"})
    table = parquet.read_table(path)
    assert table.column_names == ["time_s", *KEYS]
    assert np.array_equal(table["time_s"].to_numpy(), [update.time_s for update in log])
    for row, cells in enumerate(table.to_pylist()):
        said = {key: value for key, value in cells.items() if value is not None}
        del said["time_s"]
        assert said == log[row].values
    assert table.schema.metadata[b"title"] == b"x"


def test_a_missing_library_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(BadInput, match=r"ohmvigil\[parquet\]"):
        write_parquet(tmp_path / "a.parquet", [], (), {})


def test_a_failure_leaves_no_half_file(tmp_path: Path) -> None:
    def broken() -> object:
        yield batch_of([Update(0.0, {"nozzle.code": 1.0})])
        raise BadInput("a.csv:3", "is broken", "mend it")

    with pytest.raises(BadInput):
        write_parquet(tmp_path / "a.parquet", broken(), ("nozzle.code",), {})  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []
