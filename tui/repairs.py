"""Trials of a log from its notes, and what they tell the diagnosis."""

import math
from collections.abc import Iterable, Sequence
from typing import Any, Literal

from detectors.diagnosis import Answer, Trial
from detectors.diagnosis.checks import CATALOGUE
from detectors.exposure import Usage, is_within, without
from detectors.trials import (
    KindTrial,
    Start,
    Watched,
    figures,
    hours_words,
    outcome_words,
    trials,
)
from detectors.verdicts import Outcome
from shared.events import Event
from shared.text import clean
from shared.words import EVERY_CHANNEL
from tui.answers import FROM_S, TRIAL, AnyNote
from tui.lines import channel_word


def starts_in(notes: Iterable[AnyNote]) -> tuple[Start, ...]:
    """Where trials start, by the notes of that kind; facts may name `channel` and `change`."""
    found = []
    for note in notes:
        if note.kind != TRIAL:
            continue
        channel, change = note.facts.get("channel"), note.facts.get("change")
        name = channel if isinstance(channel, str) and channel else EVERY_CHANNEL
        known = change if isinstance(change, str) and change in CATALOGUE else ""
        found.append(Start(note.time_s, clean(note.text), clean(name), known))
    return tuple(sorted(found, key=lambda start: start.time_s))


def pauses_in(notes: Iterable[AnyNote]) -> tuple[tuple[float, float], ...]:
    """When somebody handled the machine for a measured check: from its start to its answer."""
    return tuple(
        (from_s, note.time_s)
        for note in notes
        if isinstance(from_s := note.facts.get(FROM_S), int | float) and from_s < note.time_s
    )


def unprovoked(events: Iterable[Event], notes: Iterable[AnyNote]) -> list[Event]:
    """Events less those that began during a measured check: its answer speaks for them."""
    pauses = pauses_in(notes)
    return [event for event in events if not is_within(event.start_s, pauses)]


def watched(usage: Usage, notes: Sequence[AnyNote]) -> Watched:
    """A log as trials want it: without provoked faults, with the changes that were noted."""
    return Watched(without(usage, pauses_in(notes)), starts_in(notes))


def trials_of(usage: Usage, notes: Sequence[AnyNote]) -> tuple[KindTrial, ...]:
    """Trials of one log."""
    return trials([watched(usage, notes)])


def told(found: Iterable[KindTrial], answers: Iterable[Answer] = ()) -> tuple[Trial, ...]:
    """What trials of a change that is a check of the catalogue have shown so far.

    Faults that were there before count; a check that was answered as well counts once,
    by its answer.
    """
    answered = {(answer.channel, answer.check) for answer in answers}
    by_change: dict[tuple[str, str], list[KindTrial]] = {}
    for one in found:
        form = CATALOGUE.get(one.change)
        is_told = one.outcome not in (Outcome.FIRST, Outcome.NO_FAULT) and one.ratio != math.inf
        if form is None or not form.changes or not is_told:
            continue
        if (one.channel, one.change) not in answered:
            by_change.setdefault((one.channel, one.change), []).append(one)
    return tuple(
        Trial(channel=channel, change=change, result=_result([one.outcome for one in ones], ones))
        for (channel, change), ones in by_change.items()
    )


def _result(
    outcomes: Sequence[Outcome], ones: Sequence[KindTrial]
) -> Literal["gone", "fewer", "same", "too-early"]:
    if Outcome.TOO_EARLY in outcomes:
        return "too-early"
    if all(outcome is Outcome.BETTER for outcome in outcomes):
        return "gone" if not any(one.count for one in ones) else "fewer"
    return "fewer" if Outcome.BETTER in outcomes else "same"


# -- as lines and records --


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
