"""Writing a file so that its name always stands for a whole one: the old, or the new.

It is written beside its place, under a name that cannot be guessed and that was not there,
synced, and then takes its place. A full disk, a kill or a power cut leaves the old one.
"""

import io
import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from shared.errors import BadInput
from shared.text import clean

PUBLIC = 0o666
"""Mode of what is made to be sent; the user's umask takes from it."""
PRIVATE = 0o600
"""Mode of recordings, and of what may hold a secret."""
PRIVATE_FOLDER = 0o700


@contextmanager
def placed(path: str | Path, mode: int = PUBLIC) -> Iterator[IO[bytes]]:
    """A file for bytes that takes the place of `path` when the block ends well.

    One that is there keeps what others may not do with it. A pipe or a device is written to as it
    is. Raises BadInput for the operating system's refusals, also those inside the block.
    """
    target = Path(path)
    try:
        if _is_stream(target):
            with target.open("wb") as file:
                yield file
            return
        with placed_path(target) as part:
            opened = os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL, mode & _mode_of(target))
            with os.fdopen(opened, "w+b") as file:
                yield file
    except OSError as error:
        raise refused(target, error) from None


@contextmanager
def placed_text(path: str | Path, mode: int = PUBLIC) -> Iterator[IO[str]]:
    """The same for text: UTF-8, line ends as they are written."""
    with placed(path, mode) as file:
        text = io.TextIOWrapper(file, encoding="utf-8", newline="")
        yield text
        text.flush()
        text.detach()


def place_text(path: str | Path, text: str, mode: int = PUBLIC) -> None:
    """A whole text at once, placed."""
    with placed_text(path, mode) as file:
        file.write(text)


@contextmanager
def placed_path(path: str | Path, *, replaces: bool = True) -> Iterator[Path]:
    """A name beside `path` for who makes its file exclusively; the file is then placed.

    Without `replaces` nothing that is at `path` by then is replaced: FileExistsError. What is
    left of a block that fails is removed.
    """
    target = Path(path)
    target = target.resolve() if replaces else target
    part = target.with_name(f".{target.name[:100]}.{secrets.token_hex(16)}.part")
    try:
        yield part
        _sync(part)
        if replaces:
            part.replace(target)
        else:
            _take(part, target)
        with suppress(OSError):
            _sync(target.parent)
    finally:
        for suffix in ("", "-wal", "-shm", "-journal"):
            with suppress(OSError):
                Path(f"{part}{suffix}").unlink()


def leftovers(path: Path) -> list[Path]:
    """What kills have left beside `path` of files that were to take its place."""
    start = f".{path.name[:100]}."
    with suppress(OSError):
        return [
            each
            for each in path.parent.iterdir()
            if each.name.startswith(start) and each.name[len(start) + 32 :].startswith(".part")
        ]
    return []


def refused(path: Path, error: OSError) -> BadInput:
    """The operating system's refusal to write here."""
    what = (error.strerror or str(error) or "cannot be written").lower()
    do = "check the folder and its disk, or name another file"
    return BadInput(clean(str(path), 4096), clean(what), do)


def _take(part: Path, target: Path) -> None:
    """Give the file its name, unless there is one of this name."""
    try:
        os.link(part, target, follow_symlinks=False)
    except FileExistsError:
        raise
    except OSError:
        # A file system without links.
        if os.path.lexists(target):
            raise FileExistsError(17, "there is a file of this name already") from None
        part.rename(target)


def _mode_of(target: Path) -> int:
    try:
        return stat.S_IMODE(target.stat().st_mode)
    except FileNotFoundError:
        return PUBLIC


def _is_stream(target: Path) -> bool:
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        return False
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(21, "is a folder")
    return not stat.S_ISREG(mode)


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
