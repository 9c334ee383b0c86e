"""A world as a plain log: CSV by the contract."""

import csv
from pathlib import Path

from shared.updates import Batch


def write_csv(path: Path, batch: Batch) -> None:
    """Write a batch; what is not in an update is an empty cell."""
    texts = {key: dict(pairs) for key, pairs in batch.texts.items()}
    columns = {
        key: ["" if value != value else f"{value:.12g}" for value in column.tolist()]
        for key, column in batch.numbers.items()
    }
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["time_s", *columns, *texts])
        for row, time_s in enumerate(batch.time_s.tolist()):
            numbers = [column[row] for column in columns.values()]
            words = [pairs.get(row, "") for pairs in texts.values()]
            writer.writerow([f"{time_s:.4f}", *numbers, *words])
