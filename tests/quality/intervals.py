"""Exact intervals for shares and rates, by SciPy's distributions."""

from scipy.stats import beta, chi2

LEVEL = 0.95


def share_interval(hits: int, of: int, level: float = LEVEL) -> tuple[float, float]:
    """Clopper and Pearson's interval of a share (Biometrika 26, 1934); 0…1 where `of` is 0."""
    tail = 0.5 * (1.0 - level)
    low = float(beta.ppf(tail, hits, of - hits + 1)) if hits else 0.0
    high = float(beta.ppf(1.0 - tail, hits + 1, of - hits)) if hits < of else 1.0
    return low, high


def rate_interval(count: int, exposure: float, level: float = LEVEL) -> tuple[float, float]:
    """Garwood's interval of a Poisson rate (Biometrika 28, 1936), per unit of exposure."""
    tail = 0.5 * (1.0 - level)
    low = 0.5 * float(chi2.ppf(tail, 2 * count)) / exposure if count else 0.0
    return low, 0.5 * float(chi2.ppf(1.0 - tail, 2 * count + 2)) / exposure
