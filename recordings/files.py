"""Opening what a user names: the usual troubles, each as one clear line."""

from pathlib import Path

from shared.errors import BadInput
from shared.reading import opened
from shared.text import clean

_WHY = {
    FileNotFoundError: ("no such file", "check the name"),
    PermissionError: ("not allowed to read it", "check its permissions"),
}


def shown(path: Path) -> str:
    """A path as it may be printed."""
    return clean(str(path), 4096)


def os_error(path: Path, error: OSError) -> BadInput:
    """The operating system's refusal as bad input."""
    what, do = _WHY.get(type(error), (error.strerror or str(error), "check the file and its disk"))
    return BadInput(shown(path), what, do)


def head_of(path: Path, size: int = 4096) -> bytes:
    """First bytes of a file with contents.

    Raises BadInput when it is missing, no regular file, unreadable or empty.
    """
    try:
        with opened(path) as file:
            head = file.read(size)
    except OSError as error:
        raise os_error(path, error) from None
    except ValueError:
        raise BadInput(shown(path), "is no file name", "check the name") from None
    if not head:
        raise BadInput(shown(path), "the file is empty", "name a recording or a plain log")
    return head
