"""Days of `record` in minutes: `python -m tests.bench.bench_night [HOURS]` (72 by default).

Half days of a machine, every other one with faults, go the way of a live watch without its
socket: simulated host, recorder that begins a new file each half day, watch, history, with
retention that has room for a third of it all. Then it asks: is every injected fault among the
events on disk, did memory stay flat, did the limit hold, is every file whole? And how long
does `replay` need for the first picture of 12 h with 20 channels, and until all is judged?
"""

import asyncio
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import msgspec

from client.simulated import plain
from client.simulated.faults import (
    AnyFault,
    Bus,
    ControllerRestart,
    Fault,
    HostRestart,
    LinkDrop,
    LooseContact,
    Stall,
    SupplyDip,
)
from client.simulated.scenario import Scenario, load_scenario
from detectors.engine.watch import Watch
from recordings.check import verify
from recordings.folder import size_of
from recordings.logs import open_log
from recordings.reader import Recording
from recordings.retention import Keeper, Limits
from recordings.rolling import RollingRecorder
from recordings.writer import Recorder
from shared.events import Event
from shared.updates import Entry, EntryKind, Update, batch_of
from shared.words import EVERY_CHANNEL, Kind
from tests.bench.bench_recording import night
from tui.app import OhmvigilApp
from tui.history import History
from tui.replay import Replay
from tui.window import Window

HALF_DAY_S = 43_200.0
AT_ONCE = 20
LATE_S = 180.0
"""How long after its end a fault may still be found."""
K = Kind


@dataclass(frozen=True)
class Injected:
    """A fault, and what it may be found as."""

    fault: Fault
    channel: str
    kinds: frozenset[Kind]

    def is_found(self, events: list[Event], offset_s: float) -> bool:
        start_s = self.fault.at_s + offset_s - 5.0
        end_s = min(self.fault.until_s, self.fault.at_s + 60.0) + offset_s + LATE_S
        return any(
            event.kind in self.kinds
            and event.channel in (self.channel, EVERY_CHANNEL)
            and start_s <= event.start_s <= end_s
            for event in events
        )


def faults_at(start_s: float) -> list[Injected]:
    """Faults of half a day that begins at `start_s`."""

    def made(fault: type[Fault], at: float, for_s: float | None = None, **more: object) -> Fault:
        until = {} if for_s is None else {"until_s": start_s + at + for_s}
        return fault(at_s=start_s + at, **until, **more)  # type: ignore[arg-type]

    broken = {K.CONTACT_BREAK, K.INTERFERENCE, K.CODE_HIGH, K.CONVERTER_FLAG, K.STEP, K.SPIKE}
    dips = {K.JOINT_JUMP, K.STEP, K.SPIKE, K.CONTACT_BREAK, K.INTERFERENCE}
    return [
        Injected(
            made(LooseContact, 2400.0, 300.0, channel="nozzle", per_min=14.0),
            "nozzle",
            frozenset(broken),
        ),
        Injected(
            LinkDrop(at_s=start_s + 7200.0, for_s=20.0), EVERY_CHANNEL, frozenset({K.LINK_LOSS})
        ),
        Injected(made(SupplyDip, 10_000.0, 120.0, per_min=6.0), "nozzle", frozenset(dips)),
        Injected(
            made(ControllerRestart, 20_500.0),
            "controller",
            frozenset({K.RESTART, K.STARTUP_TRANSIENT}),
        ),
        Injected(
            Stall(at_s=start_s + 23_000.0, for_s=8.0),
            EVERY_CHANNEL,
            frozenset({K.STALE, K.LINK_LOSS}),
        ),
        Injected(
            made(Bus, 26_000.0, 300.0, channels=("nozzle",), lost=1.0),
            "nozzle",
            frozenset({K.FROZEN, K.STALE}),
        ),
        Injected(made(HostRestart, 33_500.0), EVERY_CHANNEL, frozenset({K.RESTART, K.LINK_LOSS})),
        Injected(
            made(Bus, 37_000.0, 200.0, channels=("nozzle",), flips=0.02),
            "nozzle",
            frozenset({K.BIT_FLIP, K.SPIKE, K.CONTACT_BREAK}),
        ),
    ]


def days(hours: float) -> tuple[Scenario, list[Injected]]:
    """The healthy night again and again, with faults in every other half day."""
    base = load_scenario("healthy-night")
    halves = int(hours * 3600.0 // HALF_DAY_S)
    steps = tuple(
        msgspec.structs.replace(step, at_s=step.at_s + half * HALF_DAY_S)
        for half in range(halves)
        for step in base.steps
    )
    injected = [one for half in range(0, halves, 2) for one in faults_at(half * HALF_DAY_S)]
    faults: tuple[AnyFault, ...] = tuple(one.fault for one in injected)  # type: ignore[misc]
    for_s = halves * HALF_DAY_S
    return msgspec.structs.replace(base, steps=steps, faults=faults, for_s=for_s), injected


def resident_mb() -> float:
    """Memory that this process holds now, MB (Linux)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * 4096 / 1e6


def run_days(hours: float, folder: Path, keep_bytes: int) -> None:
    scenario, injected = days(hours)
    meta = {"title": "bench", "chains": dict(scenario.chains)}
    told: list[str] = []
    keeper = Keeper(folder, meta, Limits(keep_bytes=keep_bytes), tell=told.append)
    names = (folder / f"bench-{number:03}.ohmv" for number in count(1))
    recorder = RollingRecorder(names, meta, HALF_DAY_S, 1 << 40, keeper)
    watch, history = Watch(scenario.chains), History()
    memory: list[float] = []
    largest = held = 0
    found: dict[int, Event] = {}
    begun_s, cpu_s = time.perf_counter(), time.process_time()
    offset_s: float | None = None
    for rows in grouped(plain.updates(scenario, 1), AT_ONCE):
        if offset_s is None:
            offset_s = rows[0].time_s
        for row in rows:
            # As far as a recorder knows, this came from a socket.
            recorder.entry(Entry(row.time_s, EntryKind.MESSAGE, msgspec.json.encode(row)))
            recorder.updates([row])
        batch = batch_of(rows)
        history.append(batch)
        for event in watch.feed(batch):
            recorder.event(event)
            found[event.id] = event
        if rows[-1].time_s - offset_s >= held * 600.0:
            held += 1
            recorder.flush()
            largest = max(largest, sum(size_of(path) for path in folder.glob("*.ohmv")))
            if held % 36 == 1:
                memory.append(resident_mb())
                print(f"{(rows[-1].time_s - offset_s) / 3600:5.1f} h  {memory[-1]:.0f} MB resident")
    for event in watch.finish():
        recorder.event(event)
        found[event.id] = event
    recorder.close()
    trouble = recorder.trouble or keeper([recorder.path])
    took_s, cpu_s = time.perf_counter() - begun_s, time.process_time() - cpu_s
    report(folder, injected, offset_s or 0.0, keep_bytes, largest)
    print("\n".join(f"  {line}" for line in told))
    half = len(memory) // 2
    print(
        f"memory: {max(memory[half // 2 : half + 1]):.0f} MB at half time, {memory[-1]:.0f} at end"
    )
    print(
        f"{hours:g} h in {took_s:.0f} s, {cpu_s:.0f} s of processor time, simulating included; "
        f"trouble: {trouble or 'none'}; {len(found)} events live"
    )


def grouped(updates: Iterator[Update], size: int) -> Iterator[list[Update]]:
    rows: list[Update] = []
    for update in updates:
        rows.append(update)
        if len(rows) == size:
            yield rows
            rows = []
    if rows:
        yield rows


def report(
    folder: Path, injected: list[Injected], offset_s: float, keep_bytes: int, largest: int
) -> None:
    events: dict[int, Event] = {}
    whole = 0
    files = sorted(folder.glob("*.ohmv"))
    for path in files:
        whole += verify(path).is_whole
        recording = Recording(path)
        for event in recording.event_changes():
            events[event.id] = event
        recording.close()
    stored = list(events.values())
    missing = [one for one in injected if not one.is_found(stored, offset_s)]
    size = sum(size_of(path) for path in files)
    print(
        f"{len(injected) - len(missing)} of {len(injected)} injected faults are in the recordings"
    )
    for one in missing:
        print(f"  missing: {one.fault}")
    print(f"{whole} of {len(files)} files whole")
    limit, most = keep_bytes / 1e6, largest / 1e6
    print(f"kept {size / 1e6:.1f} MB, limit {limit:.1f} MB, most meanwhile {most:.1f} MB")


def run_picture(folder: Path) -> None:
    """12 h of 20 channels: first picture, and everything judged."""
    path = folder / "wide.ohmv"
    recorder = Recorder(path, {"title": "wide"})
    updates = night(12.0, 20)
    for start in range(0, len(updates), AT_ONCE):
        recorder.updates(updates[start : start + AT_ONCE])
        if start % (20 * AT_ONCE) == 0:
            recorder.flush()
    recorder.close()
    del updates
    print(f"12 h of 20 channels: {path.stat().st_size / 1e6:.1f} MB")
    asyncio.run(_picture(path))


async def _picture(path: Path) -> None:
    begun_s, cpu_s = time.perf_counter(), time.process_time()
    replay = Replay(open_log(path), path.name)
    replay.start()
    app = OhmvigilApp(replay)
    app.state.window = Window.of(HALF_DAY_S)
    async with app.run_test(size=(120, 40)):
        print(f"screen up after {time.perf_counter() - begun_s:.2f} s")
        while replay.history.last("c19.temperature_c", 1e9) is None:
            await asyncio.sleep(0.005)
        app.repaint()
        print(
            f"picture of the whole night after {time.perf_counter() - begun_s:.2f} s "
            f"({time.process_time() - cpu_s:.2f} s of processor time)"
        )
        worst_s = 0.0
        while not replay.is_judged:
            await asyncio.sleep(0.25)
            at_s = time.perf_counter()
            app.repaint()
            worst_s = max(worst_s, time.perf_counter() - at_s)
        print(
            f"all judged after {time.perf_counter() - begun_s:.1f} s "
            f"({time.process_time() - cpu_s:.1f} s); worst frame {worst_s:.2f} s"
        )
    replay.close()


def main() -> None:
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 72.0
    with tempfile.TemporaryDirectory() as folder:
        run_days(hours, Path(folder), keep_bytes=max(int(hours * 480_000), 20_000_000))
    with tempfile.TemporaryDirectory() as folder:
        run_picture(Path(folder))


if __name__ == "__main__":
    main()
