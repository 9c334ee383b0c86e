"""The quick way through a plain log reads what the careful way reads, or leaves it alone."""

from contextlib import nullcontext
from pathlib import Path
from unittest.mock import patch

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recordings.plain_log import read_plain_log
from recordings.plain_numbers import columns_of
from shared.errors import BadInput
from tests.levels import some

HEADER = "time_s,nozzle.temperature_c,nozzle.code,nozzle.flags,host.message,own.thing"
PLAIN = ["", "209.75", "-3.5", "29268", "1e3", "-2.5E-3", "0", "123456789012345678901234567890"]
ODD = ["-0", "-0.0", "5.", ".5", "+3", "007", " 4", "nan", "null", "1_0", "1e999", "٣", "[", '"7"']
WORDS = ["", "none", "open;short", "a\tb", "12.5", "null", '"two\nlines"', "\u202e", " "]


def read(path: Path, rows: int, *, carefully: bool) -> tuple[list[str], str]:
    """Batches as text, and the complaint that ended them."""
    batches: list[str] = []
    without = patch("recordings.plain_log.columns_of", lambda *_: None)
    with without if carefully else nullcontext():
        try:
            for batch in read_plain_log(path, rows).batches():
                numbers = {key: column.tolist() for key, column in batch.numbers.items()}
                batches.append(repr((batch.time_s.tolist(), numbers, batch.texts)))
        except BadInput as error:
            return batches, str(error)
    return batches, ""


cells = st.one_of(st.sampled_from(PLAIN), st.floats(allow_nan=False, width=64).map(repr))
odd_or_plain = st.one_of(cells, cells, cells, st.sampled_from(ODD))
words = st.sampled_from(WORDS)


@settings(
    max_examples=some(150),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data(), end=st.sampled_from(["\n", "\r\n", "\r"]), rows=st.integers(1, 5))
def test_quick_and_careful_reading_agree(
    tmp_path: Path, data: st.DataObject, end: str, rows: int
) -> None:
    """To the last bit and the last word of the complaint, whatever the cells hold."""
    is_plain = data.draw(st.booleans())
    number, word = (cells, st.just("")) if is_plain else (odd_or_plain, words)
    lines = [HEADER]
    for row in range(data.draw(st.integers(0, 8))):
        line = [f"{0.25 * row}", *(data.draw(number) for _ in range(2))]
        line += [data.draw(word) for _ in range(3)]
        lines.append(",".join(line))
        if not is_plain and data.draw(st.integers(0, 20)) == 0:
            lines.append(data.draw(st.sampled_from(["", "1", "0.1,1,2,none,,", "9,1,2,3,4,5,6"])))
    path = tmp_path / "log.csv"
    text = end.join(lines) + data.draw(st.sampled_from(["", end]))
    path.write_bytes(text.encode())
    assert read(path, rows, carefully=False) == read(path, rows, carefully=True)


def test_plain_lines_take_the_quick_way() -> None:
    """Numbers, empty cells and texts in text columns, and the next line's end is no cell."""
    lines = ["0.0,209.75,,none\n", "0.25,,29268,\n", "0.5,1e3,-2.5,open;short"]
    found = columns_of(lines, 4, [3])
    assert found is not None
    columns, texts = found
    nan = np.nan
    expected = [[0.0, 0.25, 0.5], [209.75, nan, 1000.0], [nan, 29268.0, -2.5], [nan] * 3]
    np.testing.assert_array_equal(columns, expected)
    assert texts == {3: [(0, "none"), (2, "open;short")]}


def test_numbers_are_the_nearest_doubles() -> None:
    """As IEEE 754 asks, and as Python's own reading gives them."""
    rng = np.random.default_rng(7)
    spelt = [
        f"{digits}.{more}e{exponent}"
        for digits, more, exponent in zip(
            rng.integers(1, 10**18, 3000),
            rng.integers(0, 10**18, 3000),
            rng.integers(-320, 280, 3000),
            strict=True,
        )
    ]
    found = columns_of([f"{row},{cell}\n" for row, cell in enumerate(spelt)], 2, [])
    assert found is not None
    assert found[0][1].tolist() == [float(cell) for cell in spelt]


def test_what_is_not_plain_is_left_alone() -> None:
    """Quotes, other spellings of numbers, rows of another width, words among numbers."""
    for line in ('0,"1"\n', "0,+1\n", "0,.5\n", "0,1,2\n", "0\n", "0,x\n", "0,1e999\n", "0,-0\n"):
        assert columns_of(["0,1\n", line], 2, []) is None, line
    assert columns_of(["0,12\n"], 2, [1]) is None, "a number may be a text"
