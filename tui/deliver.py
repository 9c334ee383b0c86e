"""Bringing messages out: by a command of the user's, or by the library apprise."""

import argparse
import logging
import os
import queue
import re
import shlex
import shutil
import signal
import stat
import subprocess
import threading
import time
from collections.abc import Callable, Collection, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from shared.errors import BadInput
from shared.text import clean
from tui.notify import DAY_MIN, Message, Policy

RUN_S = 30.0
"""How long a command may take."""
RETRY_S = (5.0, 60.0)
"""Waits before a failed message is tried again."""
CLOSE_S = 15.0
MAX_WAITING = 100
_UNITS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0}

Way = Callable[[Message], str]
"""Sends one message; an empty text, or why it failed."""


def policy_of(options: argparse.Namespace) -> Policy:
    """The user's wishes; BadInput names the option."""
    beat = options.heartbeat
    return Policy(
        every_s=seconds_of(options.notify_every, "--notify-every"),
        quiet=None if options.quiet_hours is None else quiet_of(options.quiet_hours),
        urgent=options.urgent,
        heartbeat_s=None if beat is None else max(seconds_of(beat, "--heartbeat"), 1.0),
    )


def seconds_of(text: str, option: str) -> float:
    """`90`, `90s`, `20m`, `6h` or `1d` as seconds."""
    found = re.fullmatch(r"(\d+(?:\.\d+)?)([smhd]?)", text, re.ASCII)
    if found is None or len(text) > 12:
        raise BadInput(option, f"'{text}' is no length of time", "write 90s, 20m, 6h or 1d")
    return float(found[1]) * _UNITS[found[2] or "s"]


def quiet_of(text: str) -> tuple[int, int]:
    """`22:00-07:00` as minutes of the day."""
    found = re.fullmatch(r"(\d{1,2}):(\d\d)-(\d{1,2}):(\d\d)", text, re.ASCII)
    numbers = [int(part) for part in found.groups()] if found else [99]
    if numbers[0] > 23 or numbers[1] > 59 or numbers[2] > 23 or numbers[3] > 59:
        raise BadInput("--quiet-hours", f"'{text}' are no hours", "write FROM-TO: 22:00-07:00")
    start, end = numbers[0] * 60 + numbers[1], numbers[2] * 60 + numbers[3]
    if start == end:
        raise BadInput("--quiet-hours", "they end when they begin", "write FROM-TO: 22:00-07:00")
    return start % DAY_MIN, end % DAY_MIN


def ways_of(options: argparse.Namespace, withheld: Collection[str] = ()) -> list[Way]:
    """Ways that the options name, checked now; BadInput for what could never work.

    `withheld`: variables that a hook does not get, since they hold secrets of hosts.
    """
    ways: list[Way] = []
    if options.hook is not None:
        ways.append(hook(options.hook, withheld))
    if options.notify:
        ways.append(library([url for each in options.notify for url in _urls(each)]))
    wants = options.heartbeat or options.quiet_hours or options.urgent or options.test_notify
    if wants and not ways:
        raise BadInput("record", "there is nowhere to send messages", "add --hook or --notify")
    return ways


def hook(command: str, withheld: Collection[str] = ()) -> Way:
    """A command as a way; it runs without a shell."""
    try:
        words = shlex.split(command)
    except ValueError as error:
        what = f"cannot be read ({str(error).lower()})"
        raise BadInput("--hook", what, "quote it as for a shell") from None
    program = shutil.which(words[0]) if words else None
    if program is None:
        what = f"there is no program '{clean(words[0])}'" if words else "is empty"
        raise BadInput("--hook", what, "name a program, with its path if it is not in PATH")

    def send(message: Message) -> str:
        try:
            child = subprocess.Popen(
                [program, *words[1:]],
                env={**_given(withheld), **environment(message, datetime.now(UTC))},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                start_new_session=True,
            )
        except OSError as error:
            return f"the hook cannot run: {(error.strerror or 'unknown').lower()}"
        try:
            _, errors = child.communicate(timeout=RUN_S)
        except subprocess.TimeoutExpired:
            _end_group(child)
            return f"the hook took more than {RUN_S:g} s"
        if child.returncode == 0:
            return ""
        said = clean(errors[-500:].decode("utf-8", "replace"))
        return f"the hook ended with {child.returncode}" + (f": {said}" if said else "")

    return send


def _given(withheld: Collection[str]) -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name not in withheld}


def _end_group(child: "subprocess.Popen[bytes]") -> None:
    """End a command with all that it started: they share its session."""
    with suppress(ProcessLookupError):
        os.killpg(child.pid, signal.SIGKILL)
    child.communicate()


def environment(message: Message, now: datetime) -> dict[str, str]:
    """What a hook finds in its environment."""
    facts = {
        "REASON": message.reason,
        "TITLE": message.title,
        "TEXT": message.text,
        "HOST": message.host,
        "KIND": message.kind,
        "CHANNEL": message.channel,
        "SEVERITY": message.severity,
        "TIME": now.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        "LOG_S": "" if message.log_s is None else f"{message.log_s:.3f}",
        "MORE": str(message.more),
    }
    return {f"OHMVIGIL_{name}": clean(value, 2000) for name, value in facts.items()}


def library(urls: Sequence[str]) -> Way:
    """The library apprise as a way."""
    try:
        import apprise
    except ImportError:
        do = "install it with: pip install 'ohmvigil[notify]', or use --hook"
        raise BadInput("--notify", "needs the library apprise", do) from None
    # Its own complaints name addresses, which may hold secrets.
    logger = logging.getLogger("apprise")
    logger.addHandler(logging.NullHandler())
    logger.propagate = False
    sender: Any = apprise.Apprise()
    for number, url in enumerate(urls, 1):
        # An address may hold a secret: it is named by its number.
        if not sender.add(url):
            what = f"address {number} is none that apprise knows"
            raise BadInput("--notify", what, "see apprise's list of services")

    def send(message: Message) -> str:
        try:
            sent = sender.notify(title=message.title, body=message.text)
        except Exception as error:
            return f"apprise failed ({type(error).__name__})"
        return "" if sent else "apprise could not deliver to every address"

    return send


def _urls(text: str) -> list[str]:
    if "://" in text:
        return [text]
    path = Path(text)
    try:
        mode = path.stat().st_mode
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        raise BadInput(
            "--notify",
            "neither an address nor a readable file",
            "give NAME://… or a file with one a line",
        ) from None
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        do = f"run: chmod 600 {clean(text)}"
        raise BadInput(clean(text), "others may read it, and it may hold secrets", do)
    found = [line.strip() for line in lines if line.strip() and not line.startswith("#")]
    if not found:
        raise BadInput(clean(text), "holds no address", "write one a line")
    return found


class Outbox:
    """Sends messages in a thread of its own, so that the watch never waits for the network.

    A message that fails is tried twice more; what fails then is said by `complain`.
    """

    def __init__(
        self,
        ways: Sequence[Way],
        complain: Callable[[str], None],
        retry_s: Sequence[float] = RETRY_S,
    ) -> None:
        self._ways = ways
        self._complain = complain
        self._retry_s = retry_s
        self._queue: queue.Queue[Message | None] = queue.Queue(MAX_WAITING)
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="outbox", daemon=True)
        self._thread.start()

    def put(self, message: Message) -> None:
        try:
            self._queue.put_nowait(message)
        except queue.Full:
            self._complain("a message is lost: too many wait")

    def close(self) -> None:
        """Send what waits, each once, and end; gives up after a while."""
        self._closing.set()
        deadline = time.monotonic() + CLOSE_S
        while self._thread.is_alive() and time.monotonic() < deadline:
            try:
                self._queue.put(None, timeout=0.2)
                break
            except queue.Full:
                continue
        self._thread.join(max(deadline - time.monotonic(), 0.0))

    def _run(self) -> None:
        while (message := self._queue.get()) is not None:
            for way in self._ways:
                self._send(way, message)

    def _send(self, way: Way, message: Message) -> None:
        why = way(message)
        for wait_s in self._retry_s:
            if not why or self._closing.wait(wait_s):
                break
            why = way(message)
        if why:
            self._complain(f"a message could not be sent: {why}")


def test_message(host: str, ways: Sequence[Way]) -> None:
    """Send a test message by every way; BadInput says which failed and why."""
    message = Message("test", host, "a test: messages from this watch arrive here")
    for way in ways:
        why = way(message)
        if why:
            raise BadInput("--test-notify", why, "check --hook or --notify")
