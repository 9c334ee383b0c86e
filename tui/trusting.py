"""Saying what a profile will send before it does, and asking where others could read it."""

import sys
from collections.abc import Iterable

from client.form import Profile
from client.trust import lines, must_be_asked, trust
from shared.errors import BadInput
from tui.output import say


def tell_and_ask(profiles: Iterable[tuple[Profile, str]], *, trusted: bool) -> None:
    """One line for each address that gets a secret; BadInput where the user does not agree.

    `trusted`: the user has agreed on the command line. Without a terminal nobody is asked: the
    link itself is refused, and says how to agree.
    """
    for profile, title in profiles:
        for line in lines(profile):
            say(f"{title}: {line}", sys.stderr)
        if not must_be_asked(profile):
            continue
        if trusted or _agrees():
            trust(profile)


def _agrees() -> bool:
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return False
    print("Trust this profile with that, from now on? [y/N] ", end="", file=sys.stderr, flush=True)
    answer = sys.stdin.readline().strip().lower()
    if answer not in ("y", "yes"):
        raise BadInput("--trust", "not agreed to", "nothing was sent")
    return True
