"""An export for spreadsheets holds no cell that is worked out; the plain one is exact."""

import csv
import tempfile
from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from recordings.plain_log import read_plain_log
from recordings.plain_writer import FORMULA, write_plain_log
from shared.text import clean
from shared.updates import Batch

FORMULAS = st.builds(
    "{}{}{}".format, st.sampled_from(["", " "]), st.sampled_from(FORMULA), st.text(max_size=20)
)


def batch(texts: list[str]) -> Batch:
    """Negative readings beside each text."""
    time_s = np.arange(float(len(texts)))
    return Batch(
        time_s,
        {"nozzle.temperature_c": -1.0 - time_s},
        {"host.message": list(enumerate(texts)), "=A1.flags": [(0, "none")]},
    )


def cells(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


@given(st.lists(FORMULAS, min_size=1, max_size=5))
def test_no_text_begins_as_a_formula(
    texts: list[str],
) -> None:
    """Names of columns neither; numbers stay numbers."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.csv"
        write_plain_log(path, [batch(texts)], for_spreadsheet=True)
        head, *rows = cells(path)
        assert not any(name.lstrip(" ").startswith(FORMULA) for name in head)
        at = head.index("host.message")
        assert all(not row[at].lstrip(" ").startswith(FORMULA) for row in rows)
        assert [float(row[1]) for row in rows] == [-1.0 - n for n in range(len(texts))]


def test_the_plain_export_gives_texts_back_as_they_were(tmp_path: Path) -> None:
    """A `'` of ours would be a letter that no host sent."""
    texts = ["=1+1", "-5", "@home"]
    path = tmp_path / "a.csv"
    write_plain_log(path, [batch(texts)])
    (read,) = read_plain_log(path).batches()
    assert [text for _, text in read.texts["host.message"]] == [clean(text) for text in texts]
