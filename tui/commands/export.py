"""`ohmvigil export`: a recording as a plain log or as Parquet."""

import argparse
import json
from pathlib import Path

from recordings.logs import Log
from recordings.parquet import write_parquet
from recordings.plain_rows import SILENT, has_silence
from recordings.plain_writer import write_plain_log
from recordings.several import Joined, open_logs
from shared.errors import BadInput
from shared.version import VERSION
from tui.output import say


def run(options: argparse.Namespace) -> int:
    """Write every update, exactly."""
    out = Path(options.output)
    if out.suffix not in (".csv", ".parquet"):
        raise BadInput(
            options.output, "no form is known by this name", "end it in .csv or .parquet"
        )
    if options.for_spreadsheet and out.suffix != ".csv":
        raise BadInput("--for-spreadsheet", "is for .csv alone", "leave it out")
    log = open_logs(options.files)
    try:
        not_onto_itself(log, options.output)
        keys = _columns(log)
        if out.suffix == ".csv":
            if has_silence(log.batches()):
                keys = (*keys, SILENT)
            write_plain_log(out, log.batches(), keys, for_spreadsheet=options.for_spreadsheet)
        else:
            about = {"ohmvigil": VERSION, "title": json.dumps(log.meta.get("title", ""))}
            write_parquet(out, log.batches(), keys, about)
        say(f"{options.output}: {log.samples} samples of {', '.join(log.channels) or 'no channel'}")
    finally:
        log.close()
    return 0


def _columns(log: Log) -> tuple[str, ...]:
    """Keys of the log; those of an imported plain log in its order, empty ones as well."""
    first = log.meta.get("columns", ())
    known = [key for key in first if isinstance(key, str)] if isinstance(first, list) else []
    return tuple(dict.fromkeys((*known, *log.keys)))


def not_onto_itself(log: Log, output: str) -> None:
    """BadInput where the output would overwrite what is being read."""
    sources = log.paths if isinstance(log, Joined) else (log.path,)
    if Path(output).exists() and any(map(Path(output).samefile, sources)):
        raise BadInput(output, "is the file that is being read", "give the output another name")
