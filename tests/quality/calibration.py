"""How far a probability can be believed: reliability, its error, and the temperature."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from scipy.optimize import minimize_scalar

from detectors.diagnosis.rank import Odds, doubted, tempered
from detectors.diagnosis.table import Candidate
from tests.quality.intervals import share_interval

BINS = 10
COLDEST, HOTTEST = 0.1, 3.0


@dataclass(frozen=True, slots=True)
class Bin:
    """Cases whose leading cause had about the same probability."""

    low: float
    high: float
    cases: int
    said: float
    """Mean probability."""
    right: int

    @property
    def share(self) -> float:
        return self.right / self.cases


def reliability(said: Sequence[float], right: Sequence[bool], bins: int = BINS) -> list[Bin]:
    """Cases by the probability that was said, in bins of equal width; empty ones left out."""
    found = []
    for place in range(bins):
        here = [k for k, p in enumerate(said) if min(int(p * bins), bins - 1) == place]
        if here:
            mean = sum(said[k] for k in here) / len(here)
            hits = sum(right[k] for k in here)
            found.append(Bin(place / bins, (place + 1) / bins, len(here), mean, hits))
    return found


def expected_error(bins: Sequence[Bin]) -> float:
    """Expected calibration error: |right − said| of each bin, weighted by its cases."""
    cases = sum(each.cases for each in bins)
    return sum(each.cases * abs(each.share - each.said) for each in bins) / max(cases, 1)


def fitted_temperature(raw: Sequence[Odds], truth: Sequence[Candidate]) -> float:
    """The temperature of the least Brier score over all causes.

    A proper score like the log loss, but bounded: a few cases that the table has quite
    wrong do not decide how sure it may be of all others.
    """

    def loss(log_temperature: float) -> float:
        temperature = math.exp(log_temperature)
        total = 0.0
        for odds, true in zip(raw, truth, strict=True):
            said = doubted(tempered(odds, temperature))
            total += sum((p - (cause == true)) ** 2 for cause, p in said.items())
        return total

    bounds = (math.log(COLDEST), math.log(HOTTEST))
    return math.exp(float(minimize_scalar(loss, bounds=bounds, method="bounded").x))


def draw_diagram(bins: Sequence[Bin], path: Path) -> None:
    """The reliability diagram as SVG, the same bytes for the same figures."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context({"svg.hashsalt": "ohmvigil", "svg.fonttype": "none"}):
        figure = Figure(figsize=(4.6, 4.6), layout="constrained")
        axis = figure.subplots()
        axis.plot([0, 1], [0, 1], color="0.6", linewidth=1, linestyle="--")
        said = [each.said for each in bins]
        shares = [each.share for each in bins]
        spans = [share_interval(each.right, each.cases) for each in bins]
        below = [share - low for share, (low, _) in zip(shares, spans, strict=True)]
        above = [high - share for share, (_, high) in zip(shares, spans, strict=True)]
        axis.errorbar(said, shares, yerr=[below, above], fmt="o", color="#0072B2", capsize=3)
        for each in bins:
            at = (each.said, each.share)
            axis.annotate(f"{each.cases}", at, (7, -11), textcoords="offset points", fontsize=8)
        axis.set(xlim=(0, 1), ylim=(0, 1.02), xlabel="probability said", ylabel="share right")
        axis.set_title("Leading cause: said and right", fontsize=11)
        axis.set_aspect("equal")
        figure.savefig(path, format="svg", metadata={"Date": None, "Creator": "ohmvigil"})
    # The SVG writer leaves spaces at the ends of lines.
    text = path.read_text(encoding="utf-8")
    path.write_text("\n".join(line.rstrip() for line in text.split("\n")), encoding="utf-8")
