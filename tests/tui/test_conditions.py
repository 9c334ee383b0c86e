"""Every condition of a host is told, in every dialect, over real sockets."""

from pathlib import Path

import pytest

from tests.tui.conditions import CONDITIONS, DIALECTS, Dialect, watched

FIRST, *REST = DIALECTS


@pytest.mark.parametrize(
    "dialect",
    [
        pytest.param(FIRST, marks=pytest.mark.long),
        *(pytest.param(dialect, marks=pytest.mark.slow) for dialect in REST),
    ],
    ids=lambda one: one.name,
)
def test_every_condition_of_a_host_is_told(dialect: Dialect, tmp_path: Path) -> None:
    """The kind that it is, or nothing where nothing is wrong."""
    cells = watched((dialect,), list(CONDITIONS), tmp_path)
    wrong = {cell.condition: (cell.told, cell.line) for cell in cells if not cell.fits()}
    assert wrong == {}
