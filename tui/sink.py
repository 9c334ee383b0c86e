"""Standard output and error that a full disk or a reader that has gone cannot turn against us.

Python's own streams keep what could not be written and fail again when the program ends. A
`Sink` writes whole lines to its descriptor at once. A command that answers a question fails with
one line when its answer cannot be written; one that watches goes on, counts the lines that
could not be printed, and says so with the next one that can be.
"""

import errno
import io
import os
import sys
from collections.abc import Callable
from contextlib import suppress

from shared.errors import BadInput

LONGEST_HELD = 1 << 16
"""Characters without a line end that are held back."""


def notice_line(count: int, why: str) -> str:
    """What is said of lines that could not be printed."""
    lines = "a line" if count == 1 else f"{count} lines"
    return f"ohmvigil: {lines} could not be printed: {why}"


class Sink(io.TextIOBase):
    """A text stream over a descriptor. `survives`: whether it goes on without a reader or room.

    `notice` makes the line about what was lost. A descriptor of None stands for a stream that
    was closed from the beginning.
    """

    def __init__(self, fd: int | None, name: str, encoding: str, errors: str) -> None:
        self._fd = fd
        self._name = name
        self._encoding, self._errors = encoding, errors
        self._held = ""
        self._is_torn = False
        """Whether the last thing written was a part of a line."""
        self.survives = False
        self.lost = 0
        """Lines that could not be printed since the last that could."""
        self.why = ""
        self.notice: Callable[[int, str], str] = notice_line

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding

    def writable(self) -> bool:
        return True

    def isatty(self) -> bool:
        return self._fd is not None and os.isatty(self._fd)

    def fileno(self) -> int:
        if self._fd is None:
            raise OSError(errno.EBADF, "closed")
        return self._fd

    def write(self, text: str, /) -> int:
        self._held += text
        end = self._held.rfind("\n") + 1
        if end or len(self._held) > LONGEST_HELD:
            whole, self._held = self._held[: end or None], self._held[end:] if end else ""
            self._print(whole)
        return len(text)

    def flush(self) -> None:
        if self._held:
            rest, self._held = self._held, ""
            self._print(rest)

    def _print(self, text: str) -> None:
        try:
            if self.lost:
                self._put(self.notice(self.lost, self.why) + "\n")
                self.lost = 0
            self._put(text)
        except OSError as error:
            self._failed(text, error)

    def _failed(self, text: str, error: OSError) -> None:
        self.why = (error.strerror or str(error)).lower()
        if self.survives:
            self.lost += text.count("\n")
            return
        if isinstance(error, BrokenPipeError) or error.errno == errno.EIO:
            raise BrokenPipeError(error.errno, self.why)
        do = "give it room, or another place"
        raise BadInput(self._name, f"cannot be written: {self.why}", do) from None

    def _put(self, text: str) -> None:
        if self._fd is None:
            raise OSError(errno.EBADF, "it is closed")
        data = text.encode(self._encoding, self._errors)
        data = b"\n" + data if self._is_torn else data
        done = 0
        try:
            while done < len(data):
                done += os.write(self._fd, data[done:])
        finally:
            self._is_torn = 0 < done < len(data)


def install() -> None:
    """Put sinks in the place of Python's streams. Closed descriptors are taken up first, so
    that no file of ours ever becomes standard output."""
    closed = [fd for fd in (0, 1, 2) if not _is_open(fd)]
    for fd in closed:
        _take_up(fd)
    for fd, name, attribute in ((1, "standard output", "stdout"), (2, "standard error", "stderr")):
        stream = getattr(sys, attribute)
        if stream is not None and stream is not getattr(sys, f"__{attribute}__"):
            continue
        encoding = getattr(stream, "encoding", None) or "utf-8"
        errors = getattr(stream, "errors", None) or "backslashreplace"
        sink = Sink(None if fd in closed else fd, name, encoding, errors)
        # Nobody is left to tell that errors cannot be told.
        sink.survives = fd == 2
        setattr(sys, attribute, sink)


def survive(notice: Callable[[int, str], str] = notice_line) -> None:
    """From now on this program goes on whatever becomes of its output."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, Sink):
            stream.survives = True
    if isinstance(sys.stdout, Sink):
        sys.stdout.notice = notice


def last_words() -> None:
    """Say on standard error what standard output never took."""
    if isinstance(sys.stdout, Sink) and sys.stdout.lost:
        sys.stderr.write(notice_line(sys.stdout.lost, sys.stdout.why) + "\n")


def _is_open(fd: int) -> bool:
    with suppress(OSError):
        os.fstat(fd)
        return True
    return False


def _take_up(fd: int) -> None:
    nowhere = os.open(os.devnull, os.O_RDWR)
    if nowhere != fd:
        os.dup2(nowhere, fd)
        os.close(nowhere)
