"""`ohmvigil judge`: detectors and diagnosis over files as fast as the machine goes."""

import argparse
import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from detectors.diagnosis.answers import Answer, newest_answers
from detectors.engine.logwatch import LogWatch
from detectors.judged import Judge, watched
from detectors.judged.noted import is_deed, noted
from detectors.trials.counted import KindTrial, Watched, trials
from recordings.cut import starts_of
from recordings.logs import Log, open_log
from recordings.losses import loss_lines
from recordings.several import Joined, open_logs
from shared.bursts import bursts
from shared.chain import Chain
from shared.chainstate import ChainState
from shared.events import Event, NotEvaluated, RankedCause, Verdict
from shared.notes import Note
from shared.when import spelt
from shared.words import Severity
from tui.chain_lines import chain_lines, chain_record
from tui.chains import chains_from
from tui.deed_lines import deed_lines, deed_record
from tui.lines import (
    burst_lines,
    burst_record,
    cause_lines,
    cause_record,
    encode,
    event_line,
    event_record,
    found_something,
    verdict_line,
    verdict_record,
    visible,
)
from tui.output import say
from tui.trial_lines import trial_lines, trial_record


@dataclass(frozen=True, slots=True)
class JudgedLog:
    """What detectors and diagnosis made of one log."""

    path: str
    first_s: float
    duration_s: float
    samples: int
    channels: tuple[str, ...]
    assumed: tuple[str, ...]
    events: list[Event]
    causes: tuple[RankedCause, ...]
    not_evaluated: tuple[NotEvaluated, ...]
    verdict: Verdict
    chains: tuple[ChainState, ...] = ()
    trials: tuple[KindTrial, ...] = ()
    """Of this log and those before it; none where no change was noted."""
    watched: Watched | None = None
    answers: tuple[Answer, ...] = ()
    """Of this log and those before it."""
    deeds: tuple[Note, ...] = ()
    """Notes of what persons did with events: they change no event and no verdict."""


def run(options: argparse.Namespace) -> int:
    """Judge each file; 1 when anything above a notice was found."""
    chains = chains_from(options.profile)
    found = False
    before: list[JudgedLog] = []
    named = [options.files] if options.joined else [[path] for path in options.files]
    for number, paths in enumerate(named, 1):
        log = open_logs(paths) if options.joined else open_log(paths[0])
        judged = _judge(log, chains, before)
        if options.trials:
            before.append(judged)
            if number < len(named):
                judged = replace(judged, trials=())
        found = found or found_something(judged.events)
        found = found or judged.verdict.severity is not Severity.NOTICE
        for line in _records(judged) if options.json else _text(judged):
            say(line)
    return 1 if found else 0


def judge(
    path: str, chains: Mapping[str, Chain] | None = None, before: Sequence[JudgedLog] = ()
) -> JudgedLog:
    """Judge one file; `chains` None takes those of the recording, if it has any.

    `before`: earlier logs of the same machine, in order; trials go on over them, and what was
    answered in them still counts.
    """
    return _judge(open_log(path), chains, before)


def _judge(log: Log, chains: Mapping[str, Chain] | None, before: Sequence[JudgedLog]) -> JudgedLog:
    try:
        return judge_log(log, log.chains if chains is None else chains, before)
    finally:
        log.close()


def judge_log(log: Log, chains: Mapping[str, Chain], before: Sequence[JudgedLog] = ()) -> JudgedLog:
    """Judge a log that is open, with these chain facts and the answers among its notes."""
    watch = LogWatch(chains, starts_of(log.meta))
    progress = _Progress(name_of(log))
    for batch in log.batches():
        watch.feed(batch)
        progress.show(watch.span_s)
    watch.finish()
    progress.end()
    said = noted(log.notes)
    # What is shelved on a screen changes nothing here.
    said = replace(
        said,
        answers=newest_answers([*(one.answers for one in before), said.answers]),
        deeds=(),
    )
    here = watched(watch.usage(), said)
    logs = [*(one.watched for one in before if one.watched), here]
    counted = trials(logs) if here.changes or before else ()
    found = watch.found()
    judged = Judge(chains).judged(found, said, counted)
    return JudgedLog(
        path=name_of(log),
        first_s=0.0 if math.isnan(watch.first_s) else watch.first_s,
        duration_s=found.span_s,
        samples=log.samples,
        channels=tuple(log.channels),
        assumed=(*_remarks(log), *found.assumed, *said.unused),
        events=visible(found.events),
        causes=judged.causes,
        not_evaluated=found.not_evaluated,
        verdict=judged.verdict,
        chains=found.chains,
        trials=counted,
        watched=here,
        answers=said.answers,
        # A new file of a run begins with what was still shelved in the last.
        deeds=tuple({(n.time_s, n.text): n for n in log.notes if is_deed(n)}.values()),
    )


def _remarks(log: Log) -> list[str]:
    """What is missing from the log, or does not fit."""
    return [*loss_lines(log.meta), *(log.remarks if isinstance(log, Joined) else ())]


def name_of(log: Log) -> str:
    """A log's file as it may be shown; of several, the first and how many more."""
    more = len(log.paths) - 1 if isinstance(log, Joined) else 0
    return f"{log.path} and {more} more" if more else str(log.path)


def _records(judged: JudgedLog) -> list[str]:
    head: dict[str, Any] = {
        "record": "file",
        "path": judged.path,
        "duration_s": judged.duration_s,
        "samples": judged.samples,
        "channels": list(judged.channels),
        "assumed": list(judged.assumed),
        "not_evaluated": [
            {"kind": item.kind, "channel": item.channel, "why": item.why}
            for item in judged.not_evaluated
        ],
    }
    return [
        encode(head),
        *(encode(event_record(event)) for event in judged.events),
        *(encode(burst_record(burst)) for burst in bursts(judged.events)),
        *(encode(deed_record(note)) for note in judged.deeds),
        *(encode(cause_record(cause)) for cause in judged.causes),
        *(encode(chain_record(state)) for state in judged.chains),
        *(encode(trial_record(one)) for one in judged.trials),
        encode(verdict_record(judged.verdict)),
    ]


def _text(judged: JudgedLog) -> list[str]:
    lines = [
        f"{judged.path}: {spelt(judged.duration_s)}, {judged.samples} samples, "
        f"channels {', '.join(judged.channels) or 'none'}"
    ]
    lines += [f"facts: {words}" for words in judged.assumed]
    lines += [event_line(event) for event in judged.events]
    lines += burst_lines(judged.events)
    lines += deed_lines(judged.deeds)
    lines += cause_lines(judged.causes)
    lines += chain_lines(judged.chains)
    lines += trial_lines(judged.trials)
    lines += _blind_lines(judged.not_evaluated)
    lines.append(verdict_line(judged.verdict))
    return lines


def _blind_lines(blind: tuple[NotEvaluated, ...]) -> list[str]:
    """One line for each reason, with the channels and kinds that it holds for."""
    by_why: dict[tuple[str, str], list[str]] = {}
    for item in blind:
        by_why.setdefault((str(item.kind), item.why), []).append(item.channel)
    return [
        f"not evaluated: {kind} on {', '.join(channels)}: {why}"
        for (kind, why), channels in by_why.items()
    ]


class _Progress:
    """How far the log has been read, on a terminal only."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._is_shown = sys.stderr.isatty()
        self._wrote = False

    def show(self, done_s: float) -> None:
        if self._is_shown:
            print(f"\r{self._path}: {spelt(done_s)} judged ", end="", file=sys.stderr, flush=True)
            self._wrote = True

    def end(self) -> None:
        if self._wrote:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)
