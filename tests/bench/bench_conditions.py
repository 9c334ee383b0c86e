"""What is told of hosts in trouble: `python -m tests.bench.bench_conditions`, about two minutes.

Each condition in each dialect over a real socket of loopback (`tests/tui/conditions.py`): kinds
that were told with the time after the condition began, and the cause that leads for the link.
The fourteen hosts of a dialect live at once, so that times are those of a busy machine. Markdown.
"""

import logging
import tempfile
from pathlib import Path

from tests.tui.conditions import CONDITIONS, DIALECTS, Cell, watched


def _words(cell: Cell) -> str:
    told = [f"{kind} {max(after_s, 0.0):.1f} s" for kind, after_s in cell.told.items()]
    told += ["refused at once"] if cell.line else []
    cause = "" if cell.cause == "–" else f" ({cell.cause})"
    return ("" if cell.fits() else "MISSED: ") + ", ".join(told or ["nothing"]) + cause


def main() -> None:
    logging.disable(logging.CRITICAL)
    rows: dict[str, list[Cell]] = {condition: [] for condition in CONDITIONS}
    for dialect in DIALECTS:
        with tempfile.TemporaryDirectory() as folder:
            for cell in watched((dialect,), list(CONDITIONS), Path(folder)):
                rows[cell.condition].append(cell)
    print(f"| condition | {' | '.join(dialect.name for dialect in DIALECTS)} |")
    print("| --- " * (len(DIALECTS) + 1) + "|")
    for condition, cells in rows.items():
        print(f"| {condition} | {' | '.join(map(_words, cells))} |")
    cells = [cell for row in rows.values() for cell in row]
    print(f"\n{sum(cell.fits() for cell in cells)} of {len(cells)} cells told as they are")


if __name__ == "__main__":
    main()
