"""Opening a file that is meant to be read: a regular one, never a pipe or a device that waits."""

import os
import stat
from pathlib import Path
from typing import IO

from shared.errors import BadInput
from shared.text import clean


def opened(path: str | Path) -> IO[bytes]:
    """A regular file, for reading. Raises BadInput for what is none, and OSError."""
    # Without waiting: a pipe would, until somebody writes into it.
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    try:
        mode = os.fstat(descriptor).st_mode
        if stat.S_ISDIR(mode):
            raise BadInput(clean(str(path), 4096), "is a folder", "name a file in it")
        if not stat.S_ISREG(mode):
            what = "is no regular file"
            raise BadInput(clean(str(path), 4096), what, "save it to a file first")
        return os.fdopen(descriptor, "rb")
    except BaseException:
        os.close(descriptor)
        raise
