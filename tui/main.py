"""The command line: parses options, opens the command that was asked for, reports bad input.

Only argparse is imported here; each command imports what it needs when it runs, so
that `--help` answers as fast as Python starts.
"""

import argparse
import importlib
import os
import sys
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

import tui.budget
import tui.learn
import tui.notify_options
import tui.ohms
import tui.record_options
from shared.errors import BadInput
from shared.secrets import without_secrets
from shared.text import clean
from shared.version import VERSION
from tui import file_options, sink
from tui.file_options import SEVERAL
from tui.record_options import trust_option

LONGEST_LINE = 1000
BAD_INPUT = 2
"""Exit code for input that cannot be used."""
OWN_FAULT = 3
"""Exit code for a fault of ohmvigil itself."""
EXIT_OF_SEVERAL = (
    "A host that fails is told in one line and the others go on; the exit code is 2 only if all "
    "have failed"
)


class _Parser(argparse.ArgumentParser):
    """Reports a bad option as one line."""

    def error(self, message: str) -> NoReturn:
        told = on_one_line(f"{self.prog}: {message}; see '{self.prog} --help'")
        self.exit(BAD_INPUT, f"{told}\n")


def on_one_line(text: str) -> str:
    """A message as a terminal may get it: what a user gave may hold anything."""
    return clean(without_secrets(text), LONGEST_LINE)


def _adder(commands: "argparse._SubParsersAction[_Parser]") -> Callable[..., _Parser]:
    def add(name: str, summary: str, example: str) -> _Parser:
        parser = commands.add_parser(
            name,
            help=summary,
            description=summary[0].upper() + summary[1:] + ".",
            epilog=f"example: {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        parser.set_defaults(command=name)
        return parser

    return add


def _screen_options(parser: _Parser) -> None:
    parser.add_argument("--ascii", action="store_true", help="plain ASCII instead of braille")
    parser.add_argument("--no-mouse", action="store_true", help="leave the mouse to the terminal")


def _scenario_options(parser: _Parser) -> None:
    parser.add_argument("--scenario", metavar="NAME", default=None, help="what happens: see --list")
    parser.add_argument("--list", action="store_true", help="list the scenarios and end")
    parser.add_argument("--speed", metavar="N", type=float, default=1.0, help="N times real time")
    parser.add_argument("--seed", metavar="N", type=int, default=1, help="of everything random")
    parser.add_argument(
        "--for", metavar="SECONDS", dest="for_s", type=float, default=None, help="simulated seconds"
    )


def _recording_options(parser: _Parser, default: str) -> None:
    parser.add_argument("-o", "--output", metavar="FILE", help=f"recording to write ({default})")


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = _Parser(
        prog="ohmvigil",
        description="Watches platinum sensors on a 3D printer, tells electrical faults from heat, "
        "and says what to check next. It is no safety device.",
        epilog="example: ohmvigil demo",
    )
    top.add_argument("--version", action="version", version=f"ohmvigil {VERSION}")
    commands = top.add_subparsers(metavar="COMMAND", required=True, parser_class=_Parser)
    add = _adder(commands)

    demo = add(
        "demo", "the live screen on a simulated printer", "ohmvigil demo --scenario loose-terminal"
    )
    _scenario_options(demo)
    demo.add_argument("--plain", action="store_true", help="events as lines, diagnosis at the end")
    _recording_options(demo, "none is written without this")
    _screen_options(demo)

    watch = add("watch", "the live screen on a real host", "ohmvigil watch ws://127.0.0.1:7950")
    watch.add_argument(
        "hosts",
        metavar="HOST",
        nargs="+",
        help="an address (ws:, wss:, unix:, tcp:) or a profile; several are shown in one list, "
        f"worst first. {EXIT_OF_SEVERAL}",
    )
    watch.add_argument(
        "--wait", action="store_true", help="wait for a host that cannot be reached yet"
    )
    watch.add_argument("--no-record", action="store_true", help="keep no recording")
    watch.add_argument(
        "--check",
        action="store_true",
        help="say in ten seconds which names of one host gave values",
    )
    trust_option(watch)
    _recording_options(watch, "by default in the recordings folder")
    _screen_options(watch)

    record = add(
        "record", "records and detects without a screen", "ohmvigil record garage -o night.ohmv"
    )
    record.add_argument(
        "hosts", metavar="HOST", nargs="+", help=f"addresses or profiles. {EXIT_OF_SEVERAL}"
    )
    record.add_argument("--json", action="store_true", help="events as NDJSON")
    record.add_argument(
        "--for",
        metavar="SECONDS",
        dest="for_s",
        type=float,
        default=None,
        help="end after this, by our own clock",
    )
    trust_option(record)
    _recording_options(record, "by default in the recordings folder")
    tui.record_options.add_arguments(record)
    tui.notify_options.add_arguments(record)

    replay = add("replay", "the screen over a recording", "ohmvigil replay night.ohmv")
    replay.add_argument(
        "files", metavar="FILE", nargs="+", help=f"a recording or a plain log; {SEVERAL}"
    )
    replay.add_argument("--profile", metavar="NAME", help="chain facts: a profile's name or file")
    _screen_options(replay)

    judge = add(
        "judge",
        "detectors and diagnosis over recordings or plain logs",
        "ohmvigil judge night.csv --profile garage.toml --json",
    )
    judge.add_argument("files", metavar="FILE", nargs="+", help="recordings or plain logs (.csv)")
    judge.add_argument("--profile", metavar="NAME", help="chain facts: a profile's name or file")
    judge.add_argument("--json", action="store_true", help="NDJSON instead of text")
    judge.add_argument(
        "--joined",
        action="store_true",
        help="judge the recordings of one host as one log; FILE may be a folder",
    )
    judge.add_argument(
        "--trials",
        action="store_true",
        help="one machine's nights, in order: trials go on over them",
    )

    tui.learn.add_arguments(
        add("learn", "drafts a profile of a host whose names are not known yet", tui.learn.EXAMPLE)
    )
    tui.budget.add_arguments(
        add("budget", "what a sensor chain can and cannot measure", tui.budget.EXAMPLE)
    )

    tui.ohms.add_arguments(
        add("ohms", "what a multimeter should read at a sensor's plug", tui.ohms.EXAMPLE)
    )

    _file_commands(add)

    simulate = add(
        "simulate", "only the simulated host, for other clients", "ohmvigil simulate --port 7950"
    )
    _scenario_options(simulate)
    simulate.add_argument("--port", type=int, default=7950, help="on loopback (0: any free one)")
    simulate.add_argument("--truth", metavar="FILE", help="write what was true, as NDJSON")
    return top


def _file_commands(add: Callable[..., _Parser]) -> None:
    for name, module, summary in (
        ("report", "report", "one page for a bug report"),
        ("bundle", "bundle", "recording, report and versions in one zip, private strings removed"),
        ("export", "export", "a recording as a plain log or as Parquet"),
        ("import", "import_log", "a plain log, or captured frames, into a recording"),
        ("note", "note", "adds a note, a check's answer or a trial to a recording"),
        ("check", "check", "verifies every row of a recording"),
    ):
        command = add(name, summary, getattr(file_options, f"{module.upper()}_EXAMPLE"))
        command.set_defaults(command=module)
        getattr(file_options, f"{module}_options")(command)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command; its exit code. 2 after one line on stderr for bad input."""
    sink.install()
    if not sys.warnoptions:
        # What a library has to say to programmers is none of a user's business.
        warnings.simplefilter("ignore")
    try:
        return _run(arguments)
    finally:
        sink.last_words()


def _run(arguments: Sequence[str] | None) -> int:
    try:
        options = parser().parse_args(arguments)
    except BadInput as error:  # The help cannot be written.
        print(f"ohmvigil: {on_one_line(str(error))}", file=sys.stderr)
        return BAD_INPUT
    command = importlib.import_module(f"tui.commands.{options.command}")
    try:
        code: int = command.run(options)
        sys.stdout.flush()
    except BadInput as error:
        print(f"ohmvigil: {on_one_line(str(error))}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # Whoever read our output has gone (a pager, `head`): nothing is left to say.
        return 0
    except Exception as fault:
        print(f"ohmvigil: {on_one_line(_own_fault(fault))}", file=sys.stderr)
        return OWN_FAULT
    return code


def _state_folder() -> Path:
    """$XDG_STATE_HOME/ohmvigil, else ~/.local/state/ohmvigil; made where it is missing."""
    home = os.environ.get("XDG_STATE_HOME", "")
    folder = (Path(home) if home.startswith("/") else Path.home() / ".local/state") / "ohmvigil"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def _own_fault(fault: Exception) -> str:
    """What to say of a fault that is ours; where it happened goes to a file, for a report."""
    import tempfile
    import traceback

    said = f"a fault of ohmvigil itself: {type(fault).__name__}: {fault}"
    try:
        handle, path = tempfile.mkstemp(".txt", "fault-", _state_folder())
        with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as file:
            file.write(f"ohmvigil {VERSION}\n")
            file.write(without_secrets("".join(traceback.format_exception(fault))))
    except (OSError, RuntimeError):
        return f"{said}; please report it"
    return f"{said}; please report it with {path}"


if __name__ == "__main__":
    sys.exit(run())
