"""Times and durations read the same everywhere."""

import pytest

from shared.when import dated, hms, short, span_words, spelt, tenths


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.5, "0.5 s"),
        (45.0, "45 s"),
        (90.0, "90 s"),
        (900.0, "15 min"),
        (7199.0, "2 h"),
        (12 * 3600 + 180.0, "12 h 3 min"),
    ],
)
def test_a_duration_is_spelt_in_one_or_two_units(seconds: float, words: str) -> None:
    """Seconds below two minutes, minutes below two hours."""
    assert spelt(seconds) == words


@pytest.mark.parametrize(
    ("time_s", "words"), [(0.04, "0:00:00.0"), (3725.25, "1:02:05.2"), (-61.0, "-0:01:01.0")]
)
def test_a_log_time_is_told_to_tenths(time_s: float, words: str) -> None:
    """Events of one second can be told apart."""
    assert tenths(time_s) == words


def test_a_unix_time_is_shown_as_utc_time_of_day() -> None:
    """1,000,000,000 s was 01:46:40 UTC (published: POSIX seconds since the epoch)."""
    assert hms(1e9) == "01:46:40"


def test_a_page_kept_for_long_tells_the_day_of_a_unix_time() -> None:
    """1700000000 is 2023-11-14T22:13:20Z (POSIX.1-2017, seconds since the Epoch; computed)."""
    assert dated(1_700_000_000.5) == "2023-11-14 22:13:20.5"
    assert dated(1_699_999_999.99) == "2023-11-14 22:13:20.0"
    assert dated(3725.04) == "1:02:05.0"


def test_a_time_beyond_any_calendar_is_told_in_seconds() -> None:
    """Logs count from any origin, in units that were not asked."""
    assert hms(1e18) == tenths(1e18) == dated(1e18) == "1e+18 s"
    assert tenths(-1e12) == "-1e+12 s"


def test_what_is_no_number_is_a_dash() -> None:
    """An event that still goes on has no end."""
    assert hms(float("nan")) == tenths(float("inf")) == "-"


@pytest.mark.parametrize(
    ("seconds", "cells"), [(5.4, "5s"), (725.0, "12m"), (3 * 3600.0, "3h"), (9 * 86400.0, "9d")]
)
def test_a_short_duration_takes_four_cells_at_most(seconds: float, cells: str) -> None:
    """For places where only a number fits."""
    assert short(seconds) == cells


def test_a_windows_length_is_named_by_its_unit() -> None:
    """Zoom levels are whole seconds, minutes, hours."""
    assert [span_words(s) for s in (30.0, 300.0, 7200.0)] == ["30 s", "5 min", "2 h"]
