"""What is told of the host's own clock: text under `host.timekeeping`.

stands         it says the same time again and again while readings go on
goes           it goes on
moved 3600.0   it leapt forward by so many seconds, or fell back where that is below 0
"""

TIMEKEEPING = "host.timekeeping"
STANDS = "stands"
GOES = "goes"
_MOVED = "moved "


def moved(by_s: float) -> str:
    """The words for a clock that leapt or fell."""
    return f"{_MOVED}{by_s:.1f}"


def moved_by_s(text: str) -> float | None:
    """By how much a clock moved, s; None where the text says something else."""
    if not text.startswith(_MOVED):
        return None
    try:
        return float(text.removeprefix(_MOVED))
    except ValueError:
        return None
