"""A slice of the file fuzzer with fixed seeds; `make fuzz` runs the rest."""

import importlib
from pathlib import Path

import pytest

from tests.fuzz.files import base
from tests.fuzz.fuzz_files import outcome_of
from tests.levels import one_in

PLAIN = range(20)
MANY = range(20, 400)
ONCE_WRONG = (90, 175, 234, 290, 294, 1281, 1311)
"""A schema that is no UTF-8, no sensor in a log, more channels than are read, ids at their end,
codes of 300 digits."""


DRAWING = ("recordings.report.page", "recordings.report.svg", "matplotlib.backends.backend_svg")


@pytest.fixture(scope="module", autouse=True)
def _imported() -> None:
    """What every child would import for its report alone."""
    for name in DRAWING:
        importlib.import_module(name)


@pytest.mark.parametrize("seed", one_in(13, [*PLAIN, *ONCE_WRONG]))
def test_a_strange_file_ends_in_one_line(seed: int, tmp_path: Path) -> None:
    base(tmp_path)
    assert outcome_of(seed, tmp_path, is_timed=False).faults == []


@pytest.mark.slow
def test_many_strange_files_end_in_one_line(tmp_path: Path) -> None:
    base(tmp_path)
    found = {seed: outcome_of(seed, tmp_path, is_timed=False).faults for seed in MANY}
    assert {seed: faults for seed, faults in found.items() if faults} == {}
