"""`ohmvigil record`: records and detects without a screen, on one host or several."""

import argparse
import signal
import threading
import time

from shared.errors import BadInput
from tui.follow import EventPrinter, print_result
from tui.hosts import open_recorder, profile_for
from tui.output import say
from tui.pipeline import Live


def run(options: argparse.Namespace) -> int:
    """Record until interrupted, or for a time; every recording is complete at the end."""
    if options.output is not None and len(options.hosts) > 1:
        raise BadInput("-o", "one file cannot hold several hosts", "leave -o out, or record one")
    profiles = [profile_for(host) for host in options.hosts]
    several = len(profiles) > 1
    lives: list[tuple[Live, EventPrinter]] = []
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    try:
        for profile, title in profiles:
            recorder = open_recorder(options.output, profile, title)
            live = Live(profile, title, recorder, options.for_s)
            lives.append((live, EventPrinter(title if several else "", as_json=options.json)))
            if not options.json:
                say(f"recording {title} to {recorder.path}")
            live.start()
        _follow(lives, stop)
    except KeyboardInterrupt:
        pass
    finally:
        for live, _ in lives:
            live.close()
    return _end(lives, options.json)


def _follow(lives: list[tuple[Live, EventPrinter]], stop: threading.Event) -> None:
    while not stop.is_set() and not all(live.finished.is_set() for live, _ in lives):
        time.sleep(0.1)
        for live, printer in lives:
            for event in live.take_changes():
                printer.show(event)


def _end(lives: list[tuple[Live, EventPrinter]], as_json: bool) -> int:
    fatal: BadInput | None = None
    for live, printer in lives:
        for event in live.take_changes():
            printer.show(event)
        if live.fatal is not None:
            fatal = live.fatal
        else:
            print_result(live, as_json=as_json)
    if fatal is not None:
        raise fatal
    return 0
