"""Work whose result many tests look at, done once a run for all of its workers."""

import fcntl
import os
import pickle
import shutil
import tempfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import TypeVar, cast

FOLDER = "OHMVIGIL_TESTS_SHARED"
"""Names the run's folder; workers inherit it."""

T = TypeVar("T")


def begin() -> Path | None:
    """Make the run's folder, where no run around this one has; it is the caller's to end."""
    if FOLDER in os.environ:
        return None
    folder = tempfile.mkdtemp(prefix="ohmvigil-tests-")
    os.environ[FOLDER] = folder
    return Path(folder)


def end(folder: Path) -> None:
    """Remove the folder."""
    os.environ.pop(FOLDER, None)
    shutil.rmtree(folder, ignore_errors=True)


def once(name: str, make: Callable[[], T]) -> T:
    """What `make` gives, which is called by the first who asks for this name; others wait.

    Each caller gets a copy of its own.
    """
    path = Path(os.environ[FOLDER]) / sha256(name.encode()).hexdigest()
    with path.open("a+b") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        if file.tell() == 0:
            made = make()
            pickle.dump(made, file, pickle.HIGHEST_PROTOCOL)
            return made
        file.seek(0)
        return cast("T", pickle.load(file))
