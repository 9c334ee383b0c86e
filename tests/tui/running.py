"""Commands as a script runs them: in a process of their own, or here, which is much sooner."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import tui.main

ROOT = Path(__file__).parents[2]
Done = subprocess.CompletedProcess[str]


def program(folder: Path, *arguments: str, timeout_s: float = 60.0) -> Done:
    """In a process of its own, without a terminal; its files go below `folder`."""
    return subprocess.run(
        [sys.executable, "-m", "tui.main", *arguments],
        check=False,
        capture_output=True,
        text=True,
        errors="surrogateescape",
        timeout=timeout_s,
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "XDG_CONFIG_HOME": str(folder), "XDG_DATA_HOME": str(folder)},
    )


def here(capsys: pytest.CaptureFixture[str], folder: Path, *arguments: str) -> Done:
    """The same in this process: for what ends by itself."""
    capsys.readouterr()
    with pytest.MonkeyPatch.context() as patch, _kept_signals():
        for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
            patch.setenv(name, str(folder))
        try:
            code = tui.main.run(arguments)
        except SystemExit as end:  # After a help.
            code = end.code if isinstance(end.code, int) else 1
    said = capsys.readouterr()
    return subprocess.CompletedProcess(arguments, code, said.out, said.err)


@contextmanager
def _kept_signals() -> Iterator[None]:
    names = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = {each: signal.getsignal(each) for each in names}
    try:
        yield
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
