"""Times and durations in as few cells as they need."""

import math
import time

LATEST_S = 253_402_300_800.0
"""Unix time of the year 10,000, which no clock of four digits shows."""
EPOCH_FROM_S = 1e8
"""Log times beyond this are taken as Unix time and shown as UTC time of day."""
EPOCH_TO_S = 1e11
"""Beyond this it is no time of a calendar, and shown as seconds."""


def hms(time_s: float) -> str:
    """A log time as h:mm:ss."""
    if not math.isfinite(time_s):
        return "-"
    if abs(time_s) >= EPOCH_TO_S:
        return f"{time_s:g} s"
    if time_s >= EPOCH_FROM_S:
        return time.strftime("%H:%M:%S", time.gmtime(time_s))
    sign = "-" if time_s <= -0.5 else ""
    seconds = round(abs(time_s))
    return f"{sign}{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def counted(count: int, what: str) -> str:
    """`no events`, `1 event`, `2 events`."""
    return f"{count or 'no'} {what}{'' if count == 1 else 's'}"


def tenths(time_s: float) -> str:
    """A log time as h:mm:ss.s, for lines that tell events apart."""
    if not math.isfinite(time_s) or abs(time_s) >= EPOCH_TO_S:
        return hms(time_s)
    sign = "-" if time_s <= -0.05 else ""
    seconds, tenth = divmod(round(abs(time_s) * 10), 10)
    return f"{sign}{hms(seconds)}.{tenth}"


def dated(time_s: float) -> str:
    """A log time to tenths, with the day of one that is Unix time: for pages kept for long."""
    if EPOCH_FROM_S <= time_s < EPOCH_TO_S:
        return f"{time.strftime('%Y-%m-%d', time.gmtime(round(time_s, 1)))} {tenths(time_s)}"
    return tenths(time_s)


def utc(wall_s: float) -> str:
    """A wall clock time (Unix, s) to the second, in UTC."""
    if not 0.0 <= wall_s < LATEST_S:
        return "-"
    return time.strftime("%Y-%m-%d %H:%M:%S UTC", time.gmtime(wall_s))


def short(seconds: float) -> str:
    """A duration in at most four cells: 5s, 12m, 3h, 9d."""
    seconds = max(seconds, 0.0)
    for unit, size, below in (("s", 1, 60), ("m", 60, 3600), ("h", 3600, 48 * 3600)):
        if seconds < below:
            return f"{seconds // size:.0f}{unit}"
    return f"{min(seconds // 86400, 999):.0f}d"


def spelt(seconds: float) -> str:
    """A duration in words: 0.5 s, 45 s, 12 min, 3 h 20 min."""
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    if seconds < 119.5:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes < 120:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"


def rate_words(per_hour: float) -> str:
    """How often something happens: 4 a minute, 12 an hour, 0.5 an hour."""
    if per_hour >= 60.0:
        return f"{_figures(per_hour / 60.0)} a minute"
    return f"{_figures(per_hour)} an hour"


def _figures(value: float) -> str:
    """Two figures, and no powers of ten."""
    return f"{value:.0f}" if value >= 9.95 else f"{value:.1f}".removesuffix(".0")


def span_words(seconds: float) -> str:
    """A window's length: 30 s, 5 min, 2 h."""
    if seconds < 60:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 3600 else f"{seconds / 3600:.0f} h"
