"""Makes docs/a-repair.md from the scenario `terminal-repaired`, with what the program says.

python -m tests.story_page > docs/a-repair.md
"""

import contextlib
import io
import tempfile
from pathlib import Path
from textwrap import wrap

from client.simulated.scenario import load_scenario
from shared.notes import TRIAL
from tests.test_story import (
    MOVED_UNTIL_S,
    PRINT_ENDS_S,
    PRINTS_AGAIN_S,
    SECTIONS_S,
    STILL_S,
    TIGHTENED_S,
    Night,
    trial,
)
from tui.guide import Guide
from tui.main import run
from tui.painter import paint
from tui.snapshot import Snapshot
from tui.state import ScreenState, ViewName
from tui.views.frame import ScreenFrame, glyphs_for

SIZE = (80, 24)

PAGE = """# A repair, from the first break to the proof

Made by `python -m tests.story_page` from the simulated machine's scenario `terminal-repaired`,
seed 1; every screen and line below is the program's own. `ohmvigil demo --scenario
terminal-repaired --speed 20` plays the same. `tests/test_story.py` holds the story against the
machine's own truth.

**Before you touch wiring: switch off, pull the plug, let it cool. Mains wiring only by someone
licensed for it and by the local code. ohmvigil watches and advises; it switches nothing and is no
safety device.**

## 1. It breaks
Forty minutes of print, and now and then the nozzle's reading jumps and comes back. View `3`:

{causes}

One of two causes: a contact, or a lead. The check that tells them apart for the fewest minutes is
to move the cable.

## 2. Where?
Key `e` opens that check. What to mind comes first:

{choice}

Cold, heaters and motors off, `enter` begins. Hands off for half a minute, then each part of the
cable in turn, its digit pressed before. The ohms are large enough to read from the bench, every
break rings the bell:

{found}

Half a minute at the heater block against two minutes elsewhere: the exact test leaves no
doubt that it is that end. `enter` records it, and the ranking moves at once:

{sure}

Breaks that somebody provoked say nothing of how often it breaks by itself: from the check's start
to its answer nothing counts as exposure or as a fault.

## 3. Tightened, and now?
Off, plug out, cold: the terminal at the heater block was loose and is tightened. `T` starts a
trial, "tightened the terminal" (without a screen: `ohmvigil note night.ohmv "tightened the
terminal" --trial`). Three minutes into the next print nothing has broken. That proves nothing
yet, and view `6` says how long it takes:

{early}

The fault only ever came in motion, so only motion counts, in hours and in metres. With k breaks
in T1 and none since, T2 must reach T1 · (0.05^(−1/k) − 1) for 95 %, and at least the longest
stretch that was quiet before any repair.

## 4. Proven
{minutes} minutes of motion later:

{proven}

`ohmvigil judge` says the same of the recording, and with `--trials` over several nights in their
order:

{judged}
A contact that opens wholly also drives the code to its end and raises the converter's flag:
one fault, counted once. Exit code 1: something was found in this file; the verdict says that it
is repaired, as a notice, and before that it would have said for how long to go on.
"""


def screen(night: Night, now: Snapshot, view: ViewName, guide: Guide | None = None) -> str:
    """A view in 80×24 as an indented block, blank rows at the end left out."""
    state = ScreenState(view=view, guide=guide)
    state.settle(now)
    board = paint(*SIZE, ScreenFrame(now, state, night.history, glyphs_for(False)), False)
    lines = [line.rstrip() for line in board.lines()[1:-1]]
    while lines and not lines[-1]:
        lines.pop()
    return "\n".join(f"    {line}".rstrip() for line in lines)


def page() -> str:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "night.ohmv"
        night = Night(load_scenario("terminal-repaired"), 1, path)
        told = _told(night)
        night._end()
        out = io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.chdir(folder):
            run(["judge", "night.ohmv"])
        lines = out.getvalue().splitlines()
    first = next(at for at, line in enumerate(lines) if line.startswith("trials: nozzle contact"))
    shown = [*lines[first : first + 3], *wrap(lines[-1], 94, subsequent_indent="  ")]
    told["judged"] = "\n".join(f"    {line}" for line in shown) + "\n"
    return PAGE.format(**told)


def _told(night: Night) -> dict[str, str]:
    now = night.until(PRINT_ENDS_S)
    told = {"causes": screen(night, now, ViewName.DIAGNOSIS)}
    guide = Guide(night, now, "nozzle")
    told["choice"] = screen(night, now, ViewName.CHECK, guide)
    guide.begin(night.until(STILL_S))
    at_s = STILL_S
    while at_s < MOVED_UNTIL_S:
        at_s += 0.5
        now = night.until(at_s, judged=False)
        guide.take(now)
        for number, mark_s in SECTIONS_S.items():
            if at_s == mark_s:
                guide.mark(number)
    told["found"] = screen(night, now, ViewName.CHECK, guide)
    guide.accept(now)
    told["sure"] = "\n".join(
        screen(night, night.until(at_s + 1.0), ViewName.DIAGNOSIS).splitlines()[:9]
    )
    night.until(TIGHTENED_S)
    night.note("tightened the terminal", TIGHTENED_S + night._start_s, TRIAL, {})
    now = night.until(PRINTS_AGAIN_S + 180.0)
    told["early"] = screen(night, now, ViewName.TRIALS)
    hours = trial(now, 1).hours
    now = night.until(PRINTS_AGAIN_S + 1500.0)
    told["proven"] = screen(night, now, ViewName.TRIALS)
    told["minutes"] = f"{60.0 * (trial(now, 1).hours - hours):.0f}"
    return told


if __name__ == "__main__":
    print(page(), end="")
