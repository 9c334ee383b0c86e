"""Trials as lines, and as records of `judge --json`."""

from collections.abc import Sequence
from typing import Any

from detectors.trials.counted import KindTrial, figures, hours_words, outcome_words
from shared.words import channel_word


def trial_lines(found: Sequence[KindTrial]) -> list[str]:
    """Trials as text: a heading for each kind of fault, a line for each trial."""
    lines: list[str] = []
    last: tuple[str, str] | None = None
    for one in found:
        if (one.channel, one.kind) != last:
            last = (one.channel, one.kind)
            lines.append(
                f"trials: {channel_word(one.channel)} {kinds_words(one)}, hours {one.state}"
            )
        lines.append(f"  {one.trial:>2} {one.name}: {counts_words(one)}; {outcome_words(one)}")
    return lines


def kinds_words(one: KindTrial) -> str:
    """The kind of a fault, and the kinds that saw the same."""
    return f"{one.kind} (seen as {', '.join(one.also)} too)" if one.also else one.kind


def counts_words(one: KindTrial) -> str:
    """Count, exposure, rate with its interval, ratio."""
    if one.hours <= 0.0:
        return "not run in that state yet"
    words = f"{one.count} in {exposure_words(one)}, {rate_words(one)}"
    if one.ratio is not None and one.p is not None:
        words += f", {ratio_words(one)}, p {one.p:.2g}"
    return words


def exposure_words(one: KindTrial) -> str:
    """Hours, and metres or heat-ups where the fault comes with those."""
    parts = [hours_words(one.hours)]
    if one.metres is not None:
        parts.append(f"{one.metres:.0f} m")
    if one.heat_ups is not None:
        parts.append(f"{one.heat_ups} heat-ups")
    return " ".join(parts)


def rate_words(one: KindTrial) -> str:
    low, high = figures(one.low_per_h), figures(one.high_per_h)
    return f"{figures(one.rate_per_h)}/h ({low} to {high})" if one.count else f"below {high}/h"


def ratio_words(one: KindTrial) -> str:
    if one.ratio is None or one.ratio_low is None or one.ratio_high is None:
        return ""
    return f"ratio {figures(one.ratio)} ({figures(one.ratio_low)} to {figures(one.ratio_high)})"


def trial_record(one: KindTrial) -> dict[str, Any]:
    """One kind in one trial, for `judge --json` (docs/json.md)."""
    return {
        "record": "trial",
        "trial": one.trial,
        "name": one.name,
        "change": one.change or None,
        "channel": one.channel,
        "kind": one.kind,
        "also": list(one.also),
        "state": one.state,
        "count": one.count,
        "outside": one.outside,
        "hours": one.hours,
        "metres": one.metres,
        "heat_ups": one.heat_ups,
        "rate_per_h": one.rate_per_h,
        "rate_interval": [one.low_per_h, one.high_per_h],
        "ratio": one.ratio,
        "ratio_interval": None if one.ratio is None else [one.ratio_low, one.ratio_high],
        "p": one.p,
        "scatter": one.scatter,
        "outcome": one.outcome,
        "further_h": one.further_h,
    }
