"""Detectors from elsewhere on the same logs, to see where ours stand.

`ioos-qc` has the QARTOD tests for flat line, spike and rate of change, `river` streaming
scorers, and a rolling Hampel filter is a few lines of pandas. Each gets one channel's
degrees, held between updates, and says for a threshold which rows are in alarm. None knows
chains, codes, targets or power, nor links: this compares what is to be had, not how well it
is made.

Defaults: neither package sets a number for a printer. Where its documentation gives one, it
is taken; else the trade's usual one, as said beside it.
"""

import importlib.util
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.updates import Batch, Floats

Flags = NDArray[np.bool_]
NEEDED = ("ioos_qc", "river", "pandas")
JOIN_S = 60.0
"""Alarms closer than this are one: the same as for ours."""
LIMITS_K_PER_S = (-20.0, 20.0)
PIECE_ROWS = 7200
SUSPECT = 3
"""QARTOD's flags: 3 suspect, 4 fail; beyond are missing data."""
MISSING = 9


def missing() -> list[str]:
    """Packages that this comparison needs and that are not installed."""
    return [name for name in NEEDED if importlib.util.find_spec(name) is None]


@dataclass(frozen=True, slots=True)
class Series:
    """One channel's degrees, held between updates."""

    time_s: Floats
    celsius: Floats


def series_of(batch: Batch) -> dict[str, Series]:
    """Channels with degrees."""
    found = {}
    for key, column in batch.numbers.items():
        channel, _, quantity = key.partition(".")
        if quantity != "temperature_c":
            continue
        known = ~np.isnan(column)
        if not known.any():
            continue
        place = np.maximum.accumulate(np.where(known, np.arange(len(column)), -1))
        heard = place >= 0
        found[channel] = Series(batch.time_s[heard], column[place[heard]])
    return found


@dataclass(frozen=True, slots=True)
class Outsider:
    """A detector with one threshold; `grid` is what tuning may choose from, mild to strict."""

    name: str
    unit: str
    default: float
    why: str
    """Where the default comes from."""
    grid: tuple[float, ...]
    flags: Callable[[Series, Sequence[float]], dict[float, Flags]]


def alarms(series: Series, flags: Flags) -> list[tuple[float, float]]:
    """Alarms as (start, end), joined over `JOIN_S`."""
    times = series.time_s[flags]
    if len(times) == 0:
        return []
    breaks = np.flatnonzero(np.diff(times) > JOIN_S)
    starts = times[np.concatenate(([0], breaks + 1))]
    ends = times[np.concatenate((breaks, [len(times) - 1]))]
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _bad(flags: NDArray[np.generic]) -> Flags:
    raw = np.ma.filled(np.ma.asarray(flags), 2)
    result: Flags = (raw >= SUSPECT) & (raw < MISSING)
    return result


def _flat_line(series: Series, thresholds: Sequence[float]) -> dict[float, Flags]:
    """On whole seconds: the test rounds its sampling interval to them."""
    from ioos_qc import qartod

    first_s = np.ceil(series.time_s[0])
    grid = np.arange(first_s, series.time_s[-1], 1.0)
    place = np.searchsorted(series.time_s, grid, side="right") - 1
    times = grid.astype("datetime64[s]")
    found = {}
    for least_s in thresholds:
        result = np.zeros(len(series.time_s), dtype=bool)
        # The test holds a window for every row: hours of a night go piece by piece.
        for start in range(0, len(grid), PIECE_ROWS):
            first = max(start - int(least_s) - 2, 0)
            rows = slice(first, start + PIECE_ROWS)
            if len(grid[rows]) <= least_s + 2:
                continue
            flags = qartod.flat_line_test(
                inp=series.celsius[place[rows]],
                tinp=times[rows],
                suspect_threshold=int(least_s),
                fail_threshold=int(least_s) + 1,
                tolerance=1e-6,
            )
            result[place[rows][_bad(flags)]] = True
        found[least_s] = result
    return found


def _spike(series: Series, thresholds: Sequence[float]) -> dict[float, Flags]:
    from ioos_qc import qartod

    return {
        size: _bad(
            qartod.spike_test(
                inp=series.celsius, suspect_threshold=size, fail_threshold=2.67 * size
            )
        )
        for size in thresholds
    }


def _rate(series: Series, thresholds: Sequence[float]) -> dict[float, Flags]:
    from ioos_qc import qartod

    return {
        rate: _bad(
            qartod.rate_of_change_test(inp=series.celsius, tinp=series.time_s, threshold=rate)
        )
        for rate in thresholds
    }


def _rates(series: Series) -> Floats:
    """K/s between rows; what a streaming scorer can make something of."""
    steps = np.maximum(np.diff(series.time_s, prepend=series.time_s[0] - 1.0), 1e-3)
    return np.diff(series.celsius, prepend=series.celsius[0]) / steps


def _gaussian(series: Series, thresholds: Sequence[float]) -> dict[float, Flags]:
    """Thresholds are −log10 of the chance that the scorer leaves."""
    model: Any = import_module("river.anomaly").GaussianScorer()
    scores = np.zeros(len(series.celsius))
    for row, rate in enumerate(_rates(series).tolist()):
        scores[row] = model.score_one(None, rate)
        model.learn_one(None, rate)
    with np.errstate(divide="ignore"):
        strange = -np.log10(1.0 - scores)
    return {limit: strange >= limit for limit in thresholds}


def _trees(series: Series, thresholds: Sequence[float]) -> dict[float, Flags]:
    model: Any = import_module("river.anomaly").HalfSpaceTrees(
        seed=1, limits={"rate": LIMITS_K_PER_S}
    )
    scores = np.zeros(len(series.celsius))
    for row, rate in enumerate(_rates(series).tolist()):
        given = {"rate": rate}
        scores[row] = model.score_one(given)
        model.learn_one(given)
    # A window must pass before the trees know anything.
    scores[:250] = 0.0
    return {limit: scores >= limit for limit in thresholds}


def _hampel(series: Series, thresholds: Sequence[float]) -> dict[float, Flags]:
    import pandas

    values = pandas.Series(series.celsius)
    middle = values.rolling(7, center=True, min_periods=1).median()
    off = (values - middle).abs()
    spread = 1.4826 * off.rolling(7, center=True, min_periods=1).median()
    # Rounded readings often have no spread at all: one step of the reading stands in for it.
    step = _step(series.celsius)
    sigma = np.maximum(spread.to_numpy(), step)
    return {limit: np.asarray(off.to_numpy() > limit * sigma) for limit in thresholds}


def _step(celsius: Floats) -> float:
    moves = np.abs(np.diff(celsius))
    moves = moves[moves > 0.0]
    return float(moves.min()) if len(moves) else 1e-3


def _steps(low: float, high: float, count: int) -> tuple[float, ...]:
    return tuple(float(f"{value:.3g}") for value in np.geomspace(low, high, count))


OUTSIDERS = (
    Outsider(
        "QARTOD flat line (ioos-qc)", "s", 300.0, "a usual example for slow waters; from memory",
        _steps(15.0, 300.0, 6), _flat_line,
    ),
    Outsider(
        "QARTOD spike (ioos-qc)", "K", 3.0, "QARTOD manual's example for temperature; from memory",
        _steps(0.5, 60.0, 12), _spike,
    ),
    Outsider(
        "QARTOD rate of change (ioos-qc)", "K/s", 10.0, "what no heater of ours exceeds",
        _steps(1.0, 300.0, 12), _rate,
    ),
    Outsider(
        "GaussianScorer (river)", "digits", 2.57, "three sigma, the usual; package defaults else",
        _steps(2.57, 15.9, 8), _gaussian,
    ),
    Outsider(
        "HalfSpaceTrees (river)", "score", 0.95, "a quantile that is often used; package defaults",
        (0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.999), _trees,
    ),
    Outsider(
        "Hampel filter (pandas)", "sigma", 3.0, "window 7 and three sigma, the usual; from memory",
        _steps(3.0, 3000.0, 12), _hampel,
    ),
)  # fmt: skip


def judged(batch: Batch, chosen: dict[str, Sequence[float]]) -> "Answers":
    """Alarms by detector, threshold and channel."""
    found: Answers = {}
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        # What the packages think of their own dependencies is not ours to mend.
        warnings.simplefilter("ignore")
        for channel, series in series_of(batch).items():
            for outsider in OUTSIDERS:
                limits = tuple(dict.fromkeys(chosen[outsider.name]))
                for limit, flags in outsider.flags(series, limits).items():
                    spans = alarms(series, flags)
                    found.setdefault((outsider.name, limit), {})[channel] = spans
    return found


Answers = dict[tuple[str, float], dict[str, list[tuple[float, float]]]]
"""(detector, threshold) → channel → alarms as (start, end)."""
