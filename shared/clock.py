"""This machine's own clock."""

import time

_CLOCK = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)


def own_time() -> float:
    """Own time, s: does not jump, and runs on in sleep where the system can."""
    return time.clock_gettime(_CLOCK)
