"""What holds for all tests."""

import gc
import signal
from contextlib import suppress
from pathlib import Path

import pytest

from tests import shared_work

# A shell starts what it leaves in the background deaf to Ctrl-C, and its children with it:
# programs that a test interrupts would then never end.
with suppress(ValueError):
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)

_OURS = pytest.StashKey[Path | None]()


def pytest_configure(config: pytest.Config) -> None:
    """Before workers are started, so that they share its folder."""
    config.stash[_OURS] = shared_work.begin()


def pytest_unconfigure(config: pytest.Config) -> None:
    ours = config.stash.get(_OURS, None)
    if ours is not None:
        shared_work.end(ours)


def pytest_collection_finish() -> None:
    """What stands until the end is not looked through for garbage again and again."""
    gc.collect()
    gc.freeze()
