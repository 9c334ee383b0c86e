"""From events and notes to trials, causes and verdict: the one way, live and over files.

    notes ──→ what they say ─┬─────────┬─────────┐
    usage ───────────────────┴→ trials ┤         │
    events ────────────────────────────┴→ causes ┴→ verdict

`engine.logwatch` gives events and usage, `detectors.judged.noted` what notes say.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from detectors.diagnosis import Answer, diagnose, verdict
from detectors.diagnosis.answers import answers_of
from detectors.judged.noted import Noted
from detectors.shelf import Stand, stand_at
from detectors.trials.counted import KindTrial, Watched
from detectors.trials.exposure import Usage, is_within, without
from shared.chain import Chain
from shared.chainstate import ChainState, taken
from shared.events import Event, NotEvaluated, RankedCause, Verdict
from shared.health import ChannelHealth
from shared.words import channel_word


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a watch has come to at a moment of its log."""

    events: tuple[Event, ...]
    """Every event so far by id, absorbed ones included."""
    now_s: float
    span_s: float
    """Time that was looked at."""
    healths: tuple[ChannelHealth, ...]
    """Of each channel, in the host's order."""
    not_evaluated: tuple[NotEvaluated, ...] = ()
    chains: tuple[ChainState, ...] = ()

    @property
    def assumed(self) -> tuple[str, ...]:
        """Plain sentences on facts of chains that were worked out, and on those not told."""
        return tuple(line for state in self.chains for line in taken(state))


@dataclass(frozen=True, slots=True)
class Judged:
    """What was made of it."""

    causes: tuple[RankedCause, ...]
    """Those of channels whose faults are all shelved come last."""
    verdict: Verdict
    """What is shelved does not lead it, but it is named."""
    stand: Stand
    """What stands of acknowledging and shelving."""


class Judge:
    """Judges a log as often as one asks; ranks causes anew only where evidence has changed."""

    def __init__(self, chains: Mapping[str, Chain]) -> None:
        self._chains = chains
        self._evidence: tuple[Sequence[Event], Sequence[Answer]] = ((), ())
        self._ranked: tuple[RankedCause, ...] = ()

    def judged(self, found: Found, noted: Noted, trials: Sequence[KindTrial] = ()) -> Judged:
        """Causes and verdict; what a measured check provoked is told by its answer alone."""
        own = unprovoked(found.events, noted)
        evidence = own, (*noted.answers, *answers_of(trials, noted.answers))
        if evidence != self._evidence:
            self._evidence, self._ranked = evidence, diagnose(own, self._chains, evidence[1])
        return headed(found, noted, self._ranked, trials)


def headed(
    found: Found, noted: Noted, ranked: Iterable[RankedCause], trials: Sequence[KindTrial] = ()
) -> Judged:
    """Ranked causes with their verdict, as what is shelved leaves them."""
    own = unprovoked(found.events, noted)
    stand = stand_at(found.events, noted.deeds, found.now_s)
    quiet = stand.quiet(found.events)
    causes = tuple(sorted(ranked, key=lambda cause: cause.channel in quiet))
    line = verdict(
        stand.loud(own),
        causes,
        span_s=found.span_s,
        channels=len(found.healths),
        not_evaluated=found.not_evaluated,
        shelved=[f"{kind} on {channel_word(channel)}" for channel, kind in stand.shelves],
        trials=trials,
        chains=found.chains,
    )
    return Judged(causes, line, stand)


def unprovoked(events: Iterable[Event], noted: Noted) -> list[Event]:
    """Events less those that began while somebody handled the machine for a check."""
    return [event for event in events if not is_within(event.start_s, noted.handled)]


def watched(usage: Usage, noted: Noted) -> Watched:
    """A log as trials want it: without provoked faults, with the changes that were noted."""
    return Watched(without(usage, noted.handled), noted.changes)
