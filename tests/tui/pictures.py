"""Draws the README's pictures: the demo's scenario, watched over the socket, as SVG.

python -m tests.tui.pictures docs
"""

import asyncio
import re
import sys
import tempfile
from pathlib import Path

from client.profile import simulated_profile
from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from recordings.writer import Recorder
from tui.app import OhmvigilApp
from tui.pipeline import Live

SCENARIO, SEED, SPEED, UNTIL_S = "loose-terminal", 1, 20.0, 170.0
SIZES = ((80, 24), (120, 40))


def without_fonts(svg: str) -> str:
    """The picture without fonts from the network."""
    return re.sub(r"@font-face \{.*?\}", "", svg, flags=re.DOTALL)


async def draw(folder: Path, live: Live) -> None:
    """Wait until the scenario is far enough, then draw each size."""
    while live.snapshot().now_s < UNTIL_S and not live.finished.is_set():
        await asyncio.sleep(0.05)
    for width, height in SIZES:
        app = OhmvigilApp(live)
        async with app.run_test(size=(width, height)) as pilot:
            await pilot.pause()
            app.repaint()
            await pilot.pause()
            picture = without_fonts(app.export_screenshot(title="ohmvigil demo"))
        (folder / f"screen-{width}x{height}.svg").write_text(picture, encoding="utf-8")


def main() -> None:
    folder = Path(sys.argv[1])
    scenario = load_scenario(SCENARIO)
    host = SimulatedHost(scenario, SEED, SPEED)
    address = host.start()
    with tempfile.TemporaryDirectory() as kept:
        recorder = Recorder(Path(kept) / "demo.ohmv", {})
        live = Live(simulated_profile(address, scenario.chains), "demo printer", recorder)
        live.start()
        try:
            asyncio.run(draw(folder, live))
        finally:
            live.close()
            host.stop()


if __name__ == "__main__":
    main()
