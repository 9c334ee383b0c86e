"""What is lost when: `python -m tests.bench.bench_losses [TIMES]` (200 by default), counted.

A recorder is killed (SIGKILL) at seeded moments, a finished file is cut at seeded offsets, and a
disk of 2 MB (tmpfs, needs root) runs full and is emptied again. A batch is 20 updates here, which
is what 5 s are at 4 Hz.
"""

import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from recordings.check import repair, verify
from recordings.reader import Recording
from recordings.writer import Recorder
from shared.errors import BadInput
from shared.updates import Update
from tests.recordings.logs import entry_of, joined, night, record

BATCH = 20
RECORD_UNTIL_KILLED = f"""
import os, sys
from pathlib import Path
from recordings.writer import Recorder
from tests.recordings.logs import entry_of, night

recorder = Recorder(Path(sys.argv[1]), {{}})
for index, update in enumerate(night(20_000)):
    recorder.entry(entry_of(update))
    recorder.updates([update])
    os.write(1, b".")
    if index % {BATCH} == {BATCH - 1} and recorder.flush():
        os.write(1, b"|")
"""


def updates_in(path: Path) -> list[Update]:
    recording = Recording(path)
    try:
        return joined(recording.batches())
    finally:
        recording.close()


def kills(folder: Path, times: int) -> None:
    """How much of what a recorder was given is not in its file after SIGKILL."""
    log = night(20_000)
    lost, stored_lost, gaps, faults = [], 0, 0, 0
    for seed in range(times):
        path = folder / f"killed-{seed}.ohmv"
        child = subprocess.Popen(
            [sys.executable, "-c", RECORD_UNTIL_KILLED, str(path)], stdout=subprocess.PIPE
        )
        assert child.stdout is not None
        moment = int(np.random.default_rng(seed).integers(1, 1500))
        said = child.stdout.read(moment)
        os.kill(child.pid, signal.SIGKILL)
        said += child.stdout.read()
        child.wait()
        given, stored = said.count(b"."), BATCH * said.count(b"|")
        found = updates_in(path)
        gaps += found != log[: len(found)]
        faults += not verify(path).is_whole
        stored_lost += max(stored - len(found), 0)
        lost.append(max(given - len(found), 0))
        path.unlink()
    print(
        f"killed {times} times: of {BATCH} updates a batch, lost {np.mean(lost):.1f} on average, "
        f"{max(lost)} at most; of what had been stored {stored_lost}; files with a gap {gaps}, "
        f"with damage {faults}"
    )


def cuts(folder: Path, times: int) -> None:
    """How much of a file that misses its end is saved, of what stood before the cut."""
    path = folder / "whole.ohmv"
    record(path, night(6000))
    truth, content = updates_in(path), path.read_bytes()
    named = saved_files = dirty = untrue = 0
    shares = []
    for cut in np.random.default_rng(3).integers(1, len(content) - 1, times).tolist():
        cut_path, out = folder / "cut.ohmv", folder / f"saved-{cut}.ohmv"
        cut_path.write_bytes(content[:cut])
        try:
            damage = repair(cut_path, out)
        except BadInput:
            named += 1
            continue
        named += bool(damage.faults)
        found = updates_in(out)
        saved_files += bool(found)
        dirty += not verify(out).is_whole
        untrue += not all(update in truth for update in found)
        shares.append(len(found) / len(truth) - cut / len(content))
        out.unlink()
    print(
        f"cut {times} times ({len(content) / 1e3:.0f} kB, {len(truth)} updates): damage named "
        f"{named} times; {saved_files} files saved, {dirty} of them not clean, {untrue} with "
        f"anything untrue; saved less than stood before the cut by {-100 * min(shares):.1f} % of "
        f"all at most, {-100 * np.mean(shares):.1f} % on average"
    )


def full_disk(folder: Path) -> None:
    """A disk of 2 MB that fills, stays full for a while, and is given room."""
    disk = folder / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m", "none", str(disk)]
    if os.geteuid() != 0 or subprocess.run(mount, check=False, capture_output=True).returncode:
        print("full disk: no small disk can be mounted here")
        return
    try:
        ballast = disk / "ballast"
        ballast.write_bytes(bytes(1_000_000))
        recorder = Recorder(disk / "a.ohmv", {})
        log = night(40_000)
        full_at = None
        for index, update in enumerate(log):
            recorder.entry(entry_of(update))
            recorder.updates([update])
            if index % BATCH == BATCH - 1 and not recorder.flush() and full_at is None:
                full_at = index + 1
            if full_at is not None and index >= full_at + 2000:
                break
        given = index + 1
        held = len(updates_in(disk / "a.ohmv"))
        ballast.unlink()
        deadline = time.monotonic() + 60.0
        while not recorder.flush() and time.monotonic() < deadline:
            pass
        recorder.close()
        found = updates_in(disk / "a.ohmv")
        print(
            f"disk of 2 MB: full after {full_at} updates; {given - held} waited in memory; "
            f"lost once there was room {given - len(found)}; "
            f"damaged {not verify(disk / 'a.ohmv').is_whole}"
        )
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with tempfile.TemporaryDirectory() as folder:
        kills(Path(folder), times)
        cuts(Path(folder), times)
        full_disk(Path(folder))


if __name__ == "__main__":
    main()
