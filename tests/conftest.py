"""What holds for all tests."""

import gc
import os
import signal
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import settings

from tests import levels, shared_work

# A shell starts what it leaves in the background deaf to Ctrl-C, and its children with it:
# programs that a test interrupts would then never end.
with suppress(ValueError):
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)

# Before tests are read: what says nothing of its examples has a hundred of them.
settings.register_profile("ohmvigil", settings(), max_examples=levels.some(100))
settings.load_profile("ohmvigil")

_OURS = pytest.StashKey[Path | None]()


def pytest_configure(config: pytest.Config) -> None:
    """Before workers are started, so that they share its folder."""
    config.stash[_OURS] = shared_work.begin()
    # A seventh of all the tests' time went into looking for garbage, of which there is little.
    gc.set_threshold(20_000, 10, 10)


def pytest_unconfigure(config: pytest.Config) -> None:
    ours = config.stash.get(_OURS, None)
    if ours is not None:
        shared_work.end(ours)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One more than there are cores: many tests wait for a socket, a clock or a child."""
    return len(os.sched_getaffinity(0)) + 1


def pytest_collection_finish() -> None:
    """What stands until the end is not looked through for garbage again and again."""
    gc.collect()
    gc.freeze()
