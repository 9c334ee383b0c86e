"""Run in a terminal of its own: the screen on a source whose time goes on with every frame.

Arguments: number of frames after which it leaves by itself (0: never), seconds a frame.
"""

import sys

import numpy as np

import tui.app
from shared.updates import Update, batch_of
from tests.tui.fakes import FakeSource
from tui.snapshot import Snapshot


class RunningSource(FakeSource):
    """A quarter of a second passes, with fresh noise, each time the screen looks."""

    def __init__(self, frames: int) -> None:
        super().__init__()
        self.frames = frames
        self.seen = 0
        self.app: tui.app.OhmvigilApp | None = None
        self.noise = np.random.default_rng(11)
        settled = tuple(item for item in self.now.events if item.end_s is not None)
        self.change(events=settled)

    def snapshot(self) -> Snapshot:
        self.seen += 1
        now_s = self.now.now_s + 0.25
        reading = 210.0 + 0.15 * float(self.noise.standard_normal())
        values = {
            "nozzle.temperature_c": reading,
            "nozzle.power": 0.4 + 0.02 * float(self.noise.standard_normal()),
            "board.temperature_c": 41.0 + 0.1 * float(self.noise.standard_normal()),
        }
        self.held.append(batch_of([Update(now_s, dict(values))]))
        self.change(now_s=now_s)
        if self.frames and self.seen > self.frames and self.app is not None:
            self.app.exit()
        return self.now


def main() -> None:
    tui.app.FRAME_S = float(sys.argv[2])
    source = RunningSource(int(sys.argv[1]))
    source.app = tui.app.OhmvigilApp(source)
    source.app.run()


if __name__ == "__main__":
    main()
