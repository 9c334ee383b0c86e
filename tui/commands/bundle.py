"""`ohmvigil bundle`: all that a maintainer needs to replay a fault, without what is private."""

import argparse
import getpass
import json
import platform
import tempfile
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import msgspec

from recordings.bundle import RECORDING, write_bundle
from recordings.cut import CutLog, around, joined, starts_of
from recordings.logs import Log, open_log
from recordings.private import Scrubber
from recordings.report.page import html
from recordings.sending import (
    about,
    clean_blind,
    clean_cause,
    clean_event,
    clean_profile,
    clean_state,
    clean_verdict,
    known_of,
    review,
    write_clean,
)
from recordings.several import Joined, open_logs
from shared.chain import Chain
from shared.errors import BadInput
from shared.words import QUANTITIES, Cause, HostState, Kind, Severity
from tui.chains import chains_from
from tui.commands.export import not_onto_itself
from tui.commands.judge import JudgedLog, judge_log, name_of
from tui.commands.note import time_of
from tui.commands.report import facts_of
from tui.output import say

TEXTS_SHOWN = 30
MOST_AROUND_S = 86400.0
ANYONES = (
    *("localhost", "bundle", "root", "user", "admin", "guest", "home", "host", "printer"),
    *("machine", "server", "desktop", "laptop", "night", "day", "print", "test", "log"),
    *("recording", "bench", "workshop", "hot end", "hotend", "nozzle", "bed", "chamber"),
)
"""Names of accounts, machines and files that are anyone's: replacing them hides nothing, and
spoils the words of a text."""


def run(options: argparse.Namespace) -> int:
    """Write the bundle, and say what was replaced and what is in it."""
    if Path(options.output).suffix != ".zip":
        raise BadInput(options.output, "a bundle is a zip archive", "end its name in .zip")
    if Path(options.output).exists():
        raise BadInput(options.output, "a file of this name is there", "name another, or remove it")
    around_s = _around(options.around)
    log = open_logs(options.files)
    try:
        not_onto_itself(log, options.output)
        log, cut = _span(log, options)
        chains = chains_from(options.profile)
        chains = log.chains if chains is None else chains
        judged = judge_log(log, chains)
        if judged.samples == 0:
            raise BadInput(name_of(log), "no sample lies in this span", "choose another span")
        _write(options, log, judged, chains, around_s, cut)
    finally:
        log.close()
    return 0


def _write(
    options: argparse.Namespace,
    log: Log,
    judged: JudgedLog,
    chains: Mapping[str, Chain],
    around_s: float | None,
    cut: str,
) -> None:
    scrub = _scrubber(log, options.hide)
    batches = log.batches()
    stretches: list[tuple[float, float]] = []
    if around_s is not None:
        stretches = _stretches(judged, around_s)
        batches = around(batches, stretches)
        cut += f", {around_s:g} s around events"
    span_s = (judged.first_s, judged.first_s + judged.duration_s)
    facts = about(cut, log.meta, span_s, _begun(log, span_s, stretches))
    meta = {
        "title": "A recording from a bundle",
        "versions": facts["recorded_with"] or facts["versions"],
        "chains": dict(chains),
        "bundle": facts,
    }
    files: dict[str, Path | bytes] = {}
    profile = log.meta.get("profile")
    if isinstance(profile, dict):
        meta["profile"] = clean_profile(profile, scrub)
        files["profile.json"] = json.dumps(meta["profile"], indent=1).encode()
    with tempfile.TemporaryDirectory(prefix="ohmvigil-") as folder:
        recording = Path(folder) / RECORDING
        kept = write_clean(recording, batches, scrub, judged.events, log.notes, meta)
        written = open_log(recording)
        try:
            page = html(facts_of(written, _clean_judged(judged, scrub), chains), written)
        finally:
            written.close()
        files[RECORDING] = recording
        files["report.html"] = page.encode()
        files["about.json"] = msgspec.json.format(msgspec.json.encode(facts), indent=1)
        files["replaced.txt"] = review(scrub.replaced, kept).encode()
        write_bundle(options.output, files)
    _say(options.output, scrub, kept)


def _say(output: str, scrub: Scrubber, kept: list[str]) -> None:
    for each in scrub.replaced:
        say(f"replaced: {each.placeholder} for {each.original}")
    if not scrub.replaced:
        say("replaced: nothing")
    for text in kept[:TEXTS_SHOWN]:
        say(f"kept: {text}")
    if len(kept) > TEXTS_SHOWN:
        say(f"kept: {len(kept) - TEXTS_SHOWN} more texts, listed in replaced.txt")
    say(f"{output}: look through this list before you send it; --hide TEXT replaces more")


def _clean_judged(judged: JudgedLog, scrub: Scrubber) -> JudgedLog:
    return replace(
        judged,
        path="",
        assumed=tuple(map(scrub, judged.assumed)),
        events=[clean_event(event, scrub) for event in judged.events],
        causes=tuple(clean_cause(cause, scrub) for cause in judged.causes),
        not_evaluated=tuple(clean_blind(each, scrub) for each in judged.not_evaluated),
        verdict=clean_verdict(judged.verdict, scrub),
        chains=tuple(clean_state(state, scrub) for state in judged.chains),
        trials=tuple(msgspec.structs.replace(one, name=scrub(one.name)) for one in judged.trials),
    )


def _span(log: Log, options: argparse.Namespace) -> tuple[Log, str]:
    if options.start is None and options.end is None:
        return log, "whole"
    start_s = float("-inf") if options.start is None else time_of(options.start, "--from")
    end_s = float("inf") if options.end is None else time_of(options.end, "--to")
    if start_s >= end_s:
        raise BadInput("--to", "it is not after --from", "give a later time")
    return CutLog(log, start_s, end_s), f"from {options.start or 'start'} to {options.end or 'end'}"


def _around(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not 0.0 <= seconds <= MOST_AROUND_S:
        do = f"give seconds from 0 to {MOST_AROUND_S:g}"
        raise BadInput("--around", f"'{text}' is no such time", do)
    return seconds


def _stretches(judged: JudgedLog, around_s: float) -> list[tuple[float, float]]:
    """What to keep; BadInput where there is no event to keep anything around."""
    if not judged.events:
        raise BadInput(
            "--around", "nothing was found to keep around", "leave it out, or use --from"
        )
    last_s = judged.first_s + judged.duration_s
    return joined(
        (event.start_s - around_s, (last_s if event.end_s is None else event.end_s) + around_s)
        for event in judged.events
    )


def _begun(
    log: Log, span_s: tuple[float, float], stretches: Sequence[tuple[float, float]]
) -> list[float]:
    """Where stretches begin in the bundle: those that are kept, and those of the log itself."""
    starts = [start_s for start_s in starts_of(log.meta) if span_s[0] < start_s <= span_s[1]]
    if stretches:
        inside = [s for s in starts if any(low <= s <= high for low, high in stretches)]
        return sorted({*inside, *(start_s for start_s, _ in stretches)})
    return [span_s[0], *starts] if starts else []


def _scrubber(log: Log, hide: list[str]) -> Scrubber:
    """What is private: what this machine is called, what the log names, what the user says."""
    known = known_of(log.meta)
    for word in hide:
        if len(word.strip()) < 3:
            raise BadInput("--hide", f"'{word}' is too short", "give three characters or more")
    known["text"] = [word.strip() for word in hide]
    known["host"] += [platform.node(), platform.node().partition(".")[0]]
    with suppress(OSError, KeyError, ImportError):
        known["user"] = [getpass.getuser()]
    with suppress(RuntimeError):
        known["path"].append(str(Path.home()))
    for path in log.paths if isinstance(log, Joined) else (log.path,):
        known["path"] += [path.stem, path.name]
    words = (*QUANTITIES, *Kind, *Cause, *Severity, *HostState, *ANYONES)
    channels = {part for key in log.keys for part in (key, key.rpartition(".")[0])}
    return Scrubber(known, {*map(str, words), *channels})
