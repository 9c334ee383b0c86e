"""Saying what a profile will send before it does, and asking where others could read it."""

import sys
from collections.abc import Iterable

from client.credentials import secret
from client.form import Profile
from client.trust import lines, must_be_asked, trust
from shared.errors import BadInput
from tui.output import say


def tell_and_ask(profiles: Iterable[tuple[Profile, str]], *, trusted: bool) -> None:
    """One line for each address that gets a secret; BadInput where the user does not agree.

    `trusted`: the user has agreed on the command line. Without a terminal nobody is asked; then,
    and where there is no secret to send, the link itself is refused by a line that says it all.
    """
    for profile, title in profiles:
        asked = must_be_asked(profile)
        if not _is_there(profile) or (asked and not trusted and not _can_ask()):
            continue
        for line in lines(profile):
            say(f"{title}: {line}", sys.stderr)
        if asked:
            if not trusted:
                _ask()
            trust(profile)


def _is_there(profile: Profile) -> bool:
    """Whether the profile's token can be read."""
    try:
        return profile.token is None or bool(secret(profile.token))
    except BadInput:
        return False


def _can_ask() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _ask() -> None:
    print("Trust this profile with that, from now on? [y/N] ", end="", file=sys.stderr, flush=True)
    if sys.stdin.readline().strip().lower() not in ("y", "yes"):
        raise BadInput("--trust", "not agreed to", "nothing was sent")
