"""Run in a terminal of its own: the list of several hosts, whose readings go on with each frame.

Arguments: number of frames after which it leaves, seconds a frame, number of hosts.
"""

import sys

import msgspec
import numpy as np

import tui.app
from tests.tui.live_child import RunningSource
from tui.several import SeveralApp
from tui.snapshot import LinkState, LinkView, Snapshot


class RunningHost(RunningSource):
    """One host of several: every reading flickers, and data are up to a second old."""

    def __init__(self, frames: int, number: int) -> None:
        super().__init__(frames)
        self.noise = np.random.default_rng(number)
        self.change(title=f"printer {number}")

    def snapshot(self) -> Snapshot:
        super().snapshot()
        channels = tuple(
            msgspec.structs.replace(
                health,
                temperature_c=(health.temperature_c or 0.0)
                + 0.1 * float(self.noise.standard_normal()),
            )
            for health in self.now.channels
        )
        age_s = float(self.noise.uniform(0.0, 1.0))
        self.change(channels=channels, link=LinkView(LinkState.OPEN, 631.0, age_s))
        return self.now


def main() -> None:
    tui.app.FRAME_S = float(sys.argv[2])
    sources = [RunningHost(int(sys.argv[1]), number) for number in range(int(sys.argv[3]))]
    app = SeveralApp(sources)
    sources[0].app = app
    app.run()


if __name__ == "__main__":
    main()
