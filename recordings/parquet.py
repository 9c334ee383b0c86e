"""Parquet for data frames: one column for each key, null where a key is not in an update."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import ModuleType

from recordings.files import shown
from recordings.plain_block import TIME
from shared.errors import BadInput
from shared.placing import placed
from shared.updates import Batch
from shared.words import is_number_key


def write_parquet(
    path: str | Path, batches: Iterable[Batch], keys: Sequence[str], about: Mapping[str, str]
) -> None:
    """Write batches as Parquet, a row group each; the file appears when it is complete.

    `time_s` and numbers are doubles, texts are strings. `about` becomes the file's
    key-value metadata. Raises BadInput when pyarrow is missing or the file can't be written.
    """
    path = Path(path)
    arrow, parquet = _library(path)
    fields = [arrow.field(TIME, arrow.float64(), nullable=False)]
    fields += [
        arrow.field(key, arrow.float64() if is_number_key(key) else arrow.string()) for key in keys
    ]
    schema = arrow.schema(fields, metadata=dict(about))
    with (
        placed(path) as file,
        parquet.ParquetWriter(file, schema, compression="zstd") as writer,
    ):
        for batch in batches:
            writer.write_table(_table(arrow, schema, batch, keys))


def _table(arrow: ModuleType, schema: object, batch: Batch, keys: Sequence[str]) -> object:
    columns = [arrow.array(batch.time_s)]
    for key in keys:
        if is_number_key(key):
            numbers = batch.numbers.get(key)
            column = [None] * len(batch) if numbers is None else numbers
            columns.append(arrow.array(column, arrow.float64(), from_pandas=True))
        else:
            texts: list[str | None] = [None] * len(batch)
            for row, text in batch.texts.get(key, ()):
                texts[row] = text
            columns.append(arrow.array(texts, arrow.string()))
    return arrow.Table.from_arrays(columns, schema=schema)


def _library(path: Path) -> tuple[ModuleType, ModuleType]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        what = "writing Parquet needs the library pyarrow"
        do = "install it with: pip install 'ohmvigil[parquet]', or export to .csv"
        raise BadInput(shown(path), what, do) from None
    return pyarrow, pyarrow.parquet
