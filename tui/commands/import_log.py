"""`ohmvigil import`: a plain log, or captured frames, into a recording."""

import argparse
import os
import platform
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from client.capture import captured
from client.mapping import Mapper
from client.profile import Profile, load_profile
from recordings.bringing import bring_batches, bring_entries
from recordings.files import head_of
from recordings.logs import open_log
from recordings.reader import Recording
from shared.errors import BadInput
from shared.placing import placed_path, refused
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
        meta = _meta(options.file, profile) | {"columns": log.keys}
        with _placed(options.output) as part:
            bring_batches(part, log.batches(), meta).close()
        say(f"{options.output}: {log.samples} samples of {', '.join(log.channels)}")
    finally:
        log.close()
    return 0


def _frames(options: argparse.Namespace, profile: Profile) -> int:
    mapper = Mapper(profile)

    def mapped() -> Iterator[tuple[Entry, list[Update]]]:
        for entry in captured(options.file, profile):
            yield entry, mapper.feed(entry)

    with _placed(options.output) as part:
        recorder, count = bring_entries(part, mapped(), _meta(options.file, profile))
        recorder.close()
        if count == 0:
            do = "check the profile's [[updates]] against the frames"
            raise BadInput(options.file, "no frame holds a reading by this profile", do)
    refused = ", ".join(f"{what} {times}" for what, times in mapper.refused.most_common(5))
    say(f"{options.output}: {count} updates" + (f"; not taken: {refused}" if refused else ""))
    return 0


@contextmanager
def _placed(output: str) -> Iterator[Path]:
    """Where to write the recording: it gets its name when it is whole."""
    there = BadInput(
        clean(output, 4096),
        "there is a file of this name already",
        "name another file, or move it away",
    )
    if os.path.lexists(output):
        raise there
    try:
        with placed_path(output, replaces=False) as part:
            try:
                yield part
            except BadInput as bad:
                if bad.where == str(part):
                    raise BadInput(clean(output, 4096), bad.what, bad.do) from None
                raise
    except FileExistsError:
        raise there from None
    except OSError as error:
        raise refused(Path(output), error) from None


def _meta(source: str, profile: Profile | None) -> dict[str, object]:
    name = clean(Path(source).name)
    if profile is not None:
        meta = recording_meta(profile, profile.title or name)
    else:
        versions = {"ohmvigil": VERSION, "python": platform.python_version()}
        meta = {"title": name, "versions": versions}
    return {**meta, "imported_from": name}
