"""What a HOST on the command line means: an address, or the name or file of a profile."""

import os
import platform
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import msgspec

from client.address import parse_address
from client.profile import Profile, load_profile, simulated_profile
from recordings.writer import Recorder
from shared.errors import BadInput
from shared.placing import PRIVATE_FOLDER
from shared.secrets import public_address, public_meta
from shared.text import clean
from shared.version import VERSION
from tui.output import say


def profile_for(host: str) -> tuple[Profile, str]:
    """Profile and title of a HOST. An address is taken to speak as the simulated host does."""
    if "://" in host or host.startswith("unix:"):
        parse_address(host)
        return simulated_profile(host, {}), clean(public_address(host))
    profile = load_profile(host)
    if not profile.addresses:
        raise BadInput(host, "this profile has no address", 'add `addresses = ["ws://…"]` to it')
    if not any(channel.readings for channel in profile.channels.values()):
        do = "say where readings are, or let `ohmvigil learn` draft them"
        raise BadInput(f"{host}: channels", "no channel has a reading", do)
    return profile, profile.title or clean(Path(host).stem)


def profiles_for(hosts: Sequence[str], output: str | None) -> list[tuple[Profile, str]]:
    """Profiles and titles of several HOSTs, no title twice. Raises BadInput.

    One `output` for several is refused. One name that is wrong among several gets its line and
    fails alone; so does a host that is named again: it is asked over one connection only.
    """
    if output is not None and len(hosts) > 1:
        raise BadInput("-o", "one file cannot hold several hosts", "leave -o out, or name one host")
    found: list[tuple[Profile, str]] = []
    taken: set[str] = set()
    failed: list[BadInput] = []
    for host in hosts:
        try:
            profile, title = profile_for(host)
        except BadInput as bad:
            if len(hosts) == 1:
                raise
            failed.append(bad)
            continue
        if any(set(profile.addresses) & set(other.addresses) for other, _ in found):
            failed.append(BadInput(title, "this host is named twice", "name each host once"))
            continue
        if title in taken:
            title = f"{title} ({len(found) + 1})"
        taken.add(title)
        found.append((profile, title))
    if not found:
        raise failed[0]
    for one in failed:
        say(f"ohmvigil: {one}; the others go on", sys.stderr)
    return found


def recordings_folder() -> Path:
    """$XDG_DATA_HOME/ohmvigil, else ~/.local/share/ohmvigil."""
    home = os.environ.get("XDG_DATA_HOME", "")
    base = Path(home) if home.startswith("/") else Path.home() / ".local" / "share"
    return base / "ohmvigil"


def recording_path(title: str) -> Path:
    """A dated name in the recordings folder, which is made if need be. Raises BadInput."""
    folder = recordings_folder()
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        folder.mkdir(PRIVATE_FOLDER, exist_ok=True)
    except OSError as error:
        raise BadInput(
            str(folder),
            error.strerror or "cannot be made",
            "name a file with -o, or set XDG_DATA_HOME",
        ) from None
    name = "".join(char if char.isalnum() else "-" for char in title).strip("-") or "host"
    return folder / f"{name}-{time.strftime('%Y%m%d-%H%M%S')}.ohmv"


def open_recorder(output: str | None, profile: Profile, title: str) -> Recorder:
    """A recorder at `output`, or under a dated name in the recordings folder."""
    path = Path(output) if output is not None else recording_path(title)
    return Recorder(path, recording_meta(profile, title))


def recording_meta(profile: Profile, title: str) -> dict[str, object]:
    """What a recording says of its making; never a secret."""
    meta = {
        "title": title,
        "versions": {"ohmvigil": VERSION, "python": platform.python_version()},
        "profile": msgspec.to_builtins(profile),
        "chains": dict(profile.chains),
    }
    return public_meta(meta)
