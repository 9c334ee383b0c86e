"""Every command on strange files, each file in a process of its own with bounds.

    python -m tests.fuzz.fuzz_files --files 10000 --jobs 2

A failure is an exit code that no command has, a line too many, a traceback, more than 10 s for a
command, more than 500 MB, or a repaired file that any command cannot read. Each is printed with
its seed; `--first SEED --files 1` makes it again.
"""

import argparse
import contextlib
import io
import json
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import tui.main
from recordings.several import open_logs
from shared.errors import BadInput
from tests.fuzz.files import Strange, base, strange_file
from tui.replay import Replay

COMMAND_S = 10.0
MEMORY_MB = 500
FILE_S = 60
CODES = {"check": (0, 1, 2), "judge": (0, 1, 2)}


class Outcome(NamedTuple):
    """What became of one file."""

    kind: str
    codes: dict[str, int]
    faults: list[str]
    slowest_s: float
    memory_mb: float


def outcome_of(seed: int, folder: Path, *, is_timed: bool = True) -> Outcome:
    """All commands on the file of a seed, in a child process; with bounds on its time."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        code = 1
        try:
            signal.alarm(FILE_S if is_timed else 10 * FILE_S)
            found = _in_child(seed, folder, is_timed=is_timed)
            with os.fdopen(write, "w") as pipe:
                json.dump(found, pipe)
            code = 0
        except Exception:
            traceback.print_exc()
        finally:
            os._exit(code)
    os.close(write)
    with os.fdopen(read) as pipe:
        said = pipe.read()
    _, status, usage = os.wait4(child, 0)
    memory_mb = usage.ru_maxrss / 1024
    if status or not said:
        return Outcome("?", {}, [f"the process ended with {status}"], float(FILE_S), memory_mb)
    kind, codes, faults, slowest_s = json.loads(said)
    if is_timed and memory_mb > MEMORY_MB:
        faults.append(f"{memory_mb:.0f} MB")
    return Outcome(kind, codes, faults, slowest_s, memory_mb)


def _in_child(
    seed: int, folder: Path, *, is_timed: bool = True
) -> tuple[str, dict[str, int], list[str], float]:
    work = Path(tempfile.mkdtemp(dir=folder))
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "TMPDIR"):
        os.environ[name] = str(work)
    tempfile.tempdir = str(work)
    shutil.copyfile(base(folder), work / "base.ohmv")
    try:
        strange = strange_file(work, seed)
        trial = _Trial(work, is_timed=is_timed)
        for name, arguments in _commands(strange, work):
            trial.run(name, arguments)
        if strange.kind in ("recording", "bundle", "plain"):
            trial.replay(strange.path)
        repaired = work / "repaired.ohmv"
        if repaired.exists():
            for name, arguments in _on_repaired(repaired, work):
                trial.run(f"repaired {name}", arguments, must=(0, 1) if name == "judge" else (0,))
        return strange.kind, trial.codes, trial.faults, trial.slowest_s
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _commands(strange: Strange, work: Path) -> Iterator[tuple[str, list[str]]]:
    file = str(strange.path)
    out = str(work / "out")
    if strange.kind == "profile":
        yield "judge", ["judge", str(work / "base.ohmv"), "--profile", file]
        yield "budget", ["budget", "--profile", file]
        return
    if strange.kind == "frames":
        (work / "p.toml").write_text(_profile(), encoding="utf-8")
        yield "import", ["import", file, "--profile", str(work / "p.toml"), "-o", f"{out}.ohmv"]
        return
    yield "judge", ["judge", file, "--json"]
    yield "report", ["report", file, "-o", f"{out}.html"]
    yield "export", ["export", file, "-o", f"{out}.csv"]
    yield "bundle", ["bundle", file, "-o", f"{out}.zip"]
    yield "check", ["check", file]
    yield "check --repair", ["check", file, "--repair", str(work / "repaired.ohmv")]
    yield "import", ["import", file, "-o", f"{out}.ohmv"]
    yield "note", ["note", file, "seen"]


def _on_repaired(file: Path, work: Path) -> Iterator[tuple[str, list[str]]]:
    out = str(work / "again")
    yield "check", ["check", str(file)]
    yield "judge", ["judge", str(file)]
    yield "report", ["report", str(file), "-o", f"{out}.md"]
    yield "note", ["note", str(file), "seen"]
    yield "check", ["check", str(file)]


def _profile() -> str:
    from tests.fuzz.inputs import PROFILE_TEXT

    return PROFILE_TEXT


class _Trial:
    """Runs commands here, and notes what they should not do."""

    def __init__(self, work: Path, *, is_timed: bool) -> None:
        self._work = work
        self._is_timed = is_timed
        self.codes: dict[str, int] = {}
        self.faults: list[str] = []
        self.slowest_s = 0.0

    def run(self, name: str, arguments: list[str], must: tuple[int, ...] = ()) -> None:
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = self._timed(name, lambda: tui.main.run(arguments))
        self.codes[name] = code
        lines = err.getvalue().splitlines()
        if code not in (must or CODES.get(name.partition(" ")[0], (0, 2))):
            more = [path.read_text() for path in self._work.glob("**/ohmvigil/fault-*")]
            said = " | ".join([*lines[:2], *out.getvalue().splitlines()[:3]])
            self.faults.append(f"{name}: exit {code}: {said[:400]} {' '.join(more)[-900:]}")
        elif code == 2 and len(lines) != 1:
            self.faults.append(f"{name}: {len(lines)} lines: {lines[:3]}")
        if "Traceback" in out.getvalue() + err.getvalue():
            self.faults.append(f"{name}: {err.getvalue()[-900:]}")

    def replay(self, path: Path) -> None:
        """The screen's source, without the screen."""
        err = io.StringIO()
        with contextlib.redirect_stderr(err):
            self.codes["replay"] = self._timed("replay", lambda: _replayed(path))
        if err.getvalue():
            self.faults.append(f"replay: {err.getvalue()[-900:]}")

    def _timed(self, name: str, what: Callable[[], int]) -> int:
        begun_s = time.monotonic()
        try:
            code = what()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 1
        except Exception as error:
            self.faults.append(f"{name}: {type(error).__name__}: {error}")
            code = 3
        spent_s = time.monotonic() - begun_s
        self.slowest_s = max(self.slowest_s, spent_s)
        if self._is_timed and spent_s > COMMAND_S:
            self.faults.append(f"{name}: {spent_s:.0f} s")
        return code


def _replayed(path: Path) -> int:
    try:
        log = open_logs([path])
    except BadInput:
        return 2
    source: Any = None
    try:
        source = Replay(log, "strange")
        source.start()
        end_s = time.monotonic() + 2 * COMMAND_S
        while not source.is_judged and time.monotonic() < end_s:
            source.snapshot()
            time.sleep(0.005)
        source.snapshot()
        if not source.is_judged:
            raise TimeoutError("not judged")
    except BadInput:
        return 2
    finally:
        if source is not None:
            source.close()
        else:
            log.close()
    return 0


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--files", type=int, default=10_000)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--jobs", type=int, default=2)
    options.add_argument("--seconds", type=float, default=1e9, help="end after this long")
    given = options.parse_args()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name:
        # What every child needs is imported once.
        base(Path(name))
        _in_child(0, Path(name))
        _in_child(1, Path(name))
        tempfile.tempdir = None
        os.environ["TMPDIR"] = str(Path(name).parent)
    for job in range(1, given.jobs):
        if os.fork() == 0:
            _share(given, job)
            os._exit(0)
    _share(given, 0)
    for _ in range(1, given.jobs):
        os.wait()


def _share(given: argparse.Namespace, job: int) -> None:
    """Every so-manieth file, and what it came to."""
    begun_s = time.monotonic()
    codes: Counter[str] = Counter()
    kinds: Counter[str] = Counter()
    failed = 0
    slowest_s = memory_mb = 0.0
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name:
        base(Path(name))
        for seed in range(given.first + job, given.first + given.files, given.jobs):
            if time.monotonic() - begun_s > given.seconds:
                break
            found = outcome_of(seed, Path(name))
            kinds[found.kind] += 1
            codes.update(f"{command} {code}" for command, code in found.codes.items())
            slowest_s = max(slowest_s, found.slowest_s)
            memory_mb = max(memory_mb, found.memory_mb)
            failed += bool(found.faults)
            for fault in found.faults:
                print(f"seed {seed} ({found.kind}): {fault}", flush=True)
    spent_s = time.monotonic() - begun_s
    own_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{kinds.total():,} files, {codes.total():,} commands, {spent_s:.0f} s: {failed} failed; "
        f"slowest {slowest_s:.1f} s, {memory_mb:.0f} MB at most (of which {own_mb:.0f} at rest)\n"
        f"  {dict(kinds)}\n  {dict(sorted(codes.items()))}",
        flush=True,
    )
    sys.stdout.flush()


if __name__ == "__main__":
    main()
