"""`ohmvigil note`: a note, an answer to a check, or the start of a trial, into a recording."""

import argparse

from detectors.diagnosis.checks import change_form, form_of
from recordings.logs import open_log
from recordings.notes import add_note
from recordings.reader import Recording
from shared.errors import BadInput
from shared.notes import ANSWER, TRIAL
from shared.when import tenths
from tui.output import say


def run(options: argparse.Namespace) -> int:
    """Add the note and say where it stands."""
    log = open_log(options.file)
    try:
        if type(log) is not Recording:
            do = f"make a recording of it first: ohmvigil import {options.file} -o OUT.ohmv"
            raise BadInput(options.file, "only a recording can hold notes", do)
        first_s, newest_s = log.first_s or 0.0, log.last_s or 0.0
        channels = log.channels
    finally:
        log.close()
    time_s = newest_s if options.at is None else time_of(options.at)
    kind, text, facts = _content(options, channels)
    if not first_s <= time_s <= newest_s:
        what = f"{options.at} is outside the log, which goes from {tenths(first_s)} to "
        what += f"{tenths(newest_s)}"
        raise BadInput("--at", what, "give a time in it, or leave --at out for its end")
    add_note(options.file, time_s, text, kind, facts)
    say(f"{options.file}: {kind} at {tenths(time_s)}: {text}")
    return 0


def time_of(text: str, option: str = "--at") -> float:
    """Log time of `83.5`, `1:23` (minutes) or `1:23:05`; BadInput otherwise."""
    parts = text.removeprefix("-").split(":")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    fits = 1 <= len(numbers) <= 3 and all(0.0 <= number < 1e12 for number in numbers)
    if not fits or any(number >= 60.0 for number in numbers[1:]):
        raise BadInput(option, f"'{text}' is no time", "write seconds, m:ss or h:mm:ss")
    seconds = 0.0
    for number in numbers:
        seconds = 60.0 * seconds + number
    return -seconds if text.startswith("-") else seconds


def _content(
    options: argparse.Namespace, channels: tuple[str, ...]
) -> tuple[str, str, dict[str, str]]:
    """Kind, text and facts of the note."""
    if options.change is not None and not options.trial:
        raise BadInput("--change", "it names what a trial starts with", "add --trial")
    if options.answer is not None and options.trial:
        raise BadInput("--trial", "a note cannot be an answer as well", "add two notes")
    channel = options.channel
    if channel is not None and channel not in (*channels, "*"):
        known = ", ".join((*channels, "*"))
        raise BadInput("--channel", f"the recording has no channel '{channel}'", f"use {known}")
    facts = {} if channel is None else {"channel": channel}
    if options.answer is not None:
        check, equals, outcome = options.answer.partition("=")
        if not equals:
            raise BadInput("--answer", f"'{options.answer}' has no '='", "write CHECK=OUTCOME")
        form_of(check, outcome)
        if channel is None:
            raise BadInput("--answer", "it does not say which channel", "add --channel NAME")
        facts |= {"check": check, "outcome": outcome}
        return ANSWER, options.text or f"{check}: {outcome}", facts
    if options.change is not None:
        change_form(options.change)
        facts |= {"change": options.change}
    text = options.text or (options.change or "").replace("-", " ")
    if not text:
        raise BadInput("ohmvigil note", "there is no text", 'add "what happened" or --answer')
    return (TRIAL if options.trial else "note"), text, facts
