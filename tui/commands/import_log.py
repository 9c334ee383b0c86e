"""`ohmvigil import`: a plain log, or captured frames, into a recording."""

import argparse
import platform
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from client.capture import captured
from client.mapping import Mapper
from client.profile import Profile, load_profile
from recordings.bringing import bring_batches, bring_entries
from recordings.files import head_of
from recordings.logs import open_log
from recordings.reader import Recording
from shared.errors import BadInput
from shared.text import clean
from shared.updates import Entry, Update
from shared.version import VERSION
from tui.hosts import recording_meta
from tui.output import say


def run(options: argparse.Namespace) -> int:
    """Make the recording, and say what it holds."""
    profile = load_profile(options.profile) if options.profile else None
    is_json = head_of(Path(options.file)).removeprefix(b"\xef\xbb\xbf").lstrip()[:1] in (b"{", b"[")
    if not is_json:
        return _plain(options, profile)
    if profile is None:
        do = "add --profile NAME; docs/profiles.md says how to write one"
        raise BadInput(options.file, "holds frames, and nothing says how to read them", do)
    return _frames(options, profile)


def _plain(options: argparse.Namespace, profile: Profile | None) -> int:
    log = open_log(options.file)
    try:
        if isinstance(log, Recording):
            raise BadInput(options.file, "is a recording already", "use it as it is")
        with _whole_or_gone(options.output):
            meta = _meta(options.file, profile) | {"columns": log.keys}
            bring_batches(options.output, log.batches(), meta).close()
        say(f"{options.output}: {log.samples} samples of {', '.join(log.channels)}")
    finally:
        log.close()
    return 0


def _frames(options: argparse.Namespace, profile: Profile) -> int:
    mapper = Mapper(profile)

    def mapped() -> Iterator[tuple[Entry, list[Update]]]:
        for entry in captured(options.file, profile):
            yield entry, mapper.feed(entry)

    with _whole_or_gone(options.output):
        recorder, count = bring_entries(options.output, mapped(), _meta(options.file, profile))
        recorder.close()
        if count == 0:
            do = "check the profile's [[updates]] against the frames"
            raise BadInput(options.file, "no frame holds a reading by this profile", do)
    refused = ", ".join(f"{what} {times}" for what, times in mapper.refused.most_common(5))
    say(f"{options.output}: {count} updates" + (f"; not taken: {refused}" if refused else ""))
    return 0


class _whole_or_gone:  # noqa: N801
    """Removes a recording that this command began and could not finish."""

    def __init__(self, output: str) -> None:
        self._path = Path(output)
        self._was_there = self._path.exists()

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is not None and not self._was_there:
            with suppress(OSError):
                self._path.unlink()


def _meta(source: str, profile: Profile | None) -> dict[str, object]:
    name = clean(Path(source).name)
    if profile is not None:
        meta = recording_meta(profile, profile.title or name)
    else:
        versions = {"ohmvigil": VERSION, "python": platform.python_version()}
        meta = {"title": name, "versions": versions}
    return {**meta, "imported_from": name}
