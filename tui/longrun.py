"""How a recording is spread over files, and what of older ones is kept, as the user says."""

import argparse
import math
import re
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

from client.form import Profile
from recordings.folder import Kept, not_closed, recordings_of, settle_open
from recordings.retention import Keeper, Limits
from recordings.rolling import DAY_S, NEW_FILE_BYTES, RollingRecorder
from shared.errors import BadInput
from tui.deliver import seconds_of
from tui.hosts import recording_meta, recording_path

NO_LIMITS = Limits()
SMALLEST_FILE_BYTES = 1_000_000
SHORTEST_FILE_S = 60.0
FILES_WITHIN = 6
_SCALES = {"": 1, "k": 1000, "M": 1000**2, "G": 1000**3, "T": 1000**4}


@dataclass(frozen=True, slots=True)
class FilePlan:
    """When a new file begins, and what is kept."""

    new_file_s: float = DAY_S
    new_file_bytes: int = NEW_FILE_BYTES
    limits: Limits = NO_LIMITS


def file_plan_of(options: argparse.Namespace) -> FilePlan:
    """The user's wishes; BadInput names the option."""
    sizes = [text for text in options.new_file_at if text.upper().endswith("B")]
    ages = [text for text in options.new_file_at if text not in sizes]
    new_file_s = seconds_of(ages[-1], "--new-file-at") if ages else DAY_S
    new_file_bytes = bytes_of(sizes[-1], "--new-file-at") if sizes else NEW_FILE_BYTES
    if new_file_s < SHORTEST_FILE_S or new_file_bytes < SMALLEST_FILE_BYTES:
        raise BadInput("--new-file-at", "too small", "give at least 60s and 1MB")
    keep, keep_size = options.keep, options.keep_size
    limits = Limits(
        None if keep is None else seconds_of(keep, "--keep"),
        None if keep_size is None else bytes_of(keep_size, "--keep-size"),
    )
    if limits.keep_bytes is not None:
        if not sizes:
            # Some files within the limit, so that the oldest can go alone.
            new_file_bytes = min(new_file_bytes, limits.keep_bytes // FILES_WITHIN)
        if new_file_bytes < SMALLEST_FILE_BYTES or limits.keep_bytes < new_file_bytes:
            what = f"holds less than one file of {max(new_file_bytes, SMALLEST_FILE_BYTES)} bytes"
            raise BadInput("--keep-size", what, "give more, or a smaller --new-file-at")
    return FilePlan(new_file_s, new_file_bytes, limits)


def bytes_of(text: str, option: str) -> int:
    """`500MB`, `2GB` or `800kB` as bytes, powers of 1000."""
    found = re.fullmatch(r"(\d+(?:\.\d+)?)([kMGT]?)B", text, re.ASCII)
    if found is None or len(text) > 16 or not math.isfinite(float(found[1])):
        raise BadInput(option, f"'{text}' is no size", "write 500MB or 2GB")
    return int(float(found[1]) * _SCALES[found[2]])


def open_rolling(
    output: str | None,
    profile: Profile,
    title: str,
    plan: FilePlan | None = None,
    tell: Callable[[str], None] = lambda line: None,
    others: Sequence[Path] = (),
) -> RollingRecorder:
    """A recorder for days at `output`, or under dated names in the recordings folder.

    `tell` takes lines about older recordings, also later and from other threads. `others` are
    those that were just begun of other hosts: nobody needs to look into them.
    Raises BadInput when the first file cannot be made.
    """
    plan = plan or FilePlan()
    meta = recording_meta(profile, title)
    names = file_names(output, title)
    first = next(names)
    recorder = RollingRecorder(
        _chain(first, names),
        meta,
        plan.new_file_s,
        plan.new_file_bytes,
        Keeper(first.parent, meta, plan.limits, tell=tell),
    )
    for line in look_back(first.parent, meta, [recorder.path, *others]):
        tell(line)
    return recorder


def file_names(output: str | None, title: str) -> Iterator[Path]:
    """The files of a run: OUT, OUT-2, OUT-3; or by date, each as it is begun.

    Names that are taken are left out, but for the first: the user gave it.
    """
    if output is not None:
        first = Path(output)
        yield first
        yield from _free(first.with_name(f"{first.stem}-{n}{first.suffix}") for n in count(2))
    while True:
        path = recording_path(title)
        others = (path.with_name(f"{path.stem}-{n}{path.suffix}") for n in count(2))
        yield next(_free(_chain(path, others)))


def _chain(first: Path, rest: Iterator[Path]) -> Iterator[Path]:
    yield first
    yield from rest


def _free(paths: Iterator[Path]) -> Iterator[Path]:
    return (path for path in paths if not path.exists())


def look_back(folder: Path, meta: Mapping[str, Any], in_use: Sequence[Path]) -> list[str]:
    """Lines on this host's recordings that were not closed: cut off, or still being written."""
    lines = []
    for one in not_closed(recordings_of(folder, meta, in_use)):
        try:
            lines.append(_cut_off(one) if settle_open(one.path) else _still_open(one))
        except BadInput as bad:
            lines.append(f"the recording {one.path.name} was not closed and {bad.what}; {bad.do}")
    return lines


def _cut_off(one: Kept) -> str:
    until = time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(one.ended_wall_s))
    return (
        f"the recording {one.path.name} was not closed: the program was killed, or power failed; "
        f"it is whole up to its last batch, about {until}"
    )


def _still_open(one: Kept) -> str:
    return f"{one.path.name} of this host is in use by another program; both go on"
