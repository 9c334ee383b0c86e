"""The report in a real browser: no console errors, readable without JavaScript, zoomable with it.

Needs a Chromium in the PATH; runs headless and without a network.
"""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from client.simulated.plain import updates
from client.simulated.scenario import load_scenario
from recordings.writer import Recorder
from tui.main import run

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(BROWSER is None, reason="there is no chromium in the PATH"),
]


def opened(page: Path, profile: Path, *flags: str) -> tuple[str, list[str]]:
    """The page's elements after loading, and its lines on the console."""
    assert BROWSER is not None
    done = subprocess.run(
        [
            BROWSER,
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-background-networking",
            f"--user-data-dir={profile}",
            "--enable-logging=stderr",
            *flags,
            "--dump-dom",
            page.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    return done.stdout, [line for line in done.stderr.splitlines() if "CONSOLE" in line]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report of the loose terminal."""
    folder = tmp_path_factory.mktemp("report")
    scenario = load_scenario("loose-terminal")
    recorder = Recorder(folder / "a.ohmv", {"title": "x", "chains": dict(scenario.chains)})
    recorder.updates(list(updates(scenario, 1, 120.0)))
    recorder.close()
    assert run(["report", str(folder / "a.ohmv"), "-o", str(folder / "a.html")]) == 0
    return folder / "a.html"


def test_the_console_stays_empty(page: Path, tmp_path: Path) -> None:
    elements, console = opened(page, tmp_path)
    assert console == []
    assert elements.count('class="tools"') == len(re.findall(r"<figure", elements)) >= 2


def test_the_console_would_have_shown_an_error(page: Path, tmp_path: Path) -> None:
    """The same page with a script that the page's own policy forbids: it is refused aloud."""
    broken = tmp_path / "broken.html"
    broken.write_text(page.read_text().replace("</main>", "</main><script>boom()</script>"))
    elements, console = opened(broken, tmp_path / "profile")
    assert any("Content Security Policy" in line for line in console)
    assert elements.count('class="tools"') >= 2


def test_without_javascript_everything_is_there_but_zooming(page: Path, tmp_path: Path) -> None:
    """The page's policy is changed to allow no script; a browser then runs none."""
    quiet = tmp_path / "quiet.html"
    text, times = re.subn(r"script-src 'sha256-[^']+'", "script-src 'none'", page.read_text())
    assert times == 1
    quiet.write_text(text)
    elements, _ = opened(quiet, tmp_path / "profile")
    assert 'class="tools"' not in elements
    assert elements.count("<svg") >= 2
    assert "loose connection" in elements


def test_a_figure_can_be_zoomed_and_shown_whole_again(page: Path, tmp_path: Path) -> None:
    """Two presses of + narrow what is seen by 1.6² on both sides; "whole" undoes it."""
    text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page.read_text())
    script = """<script>
    const [more, , whole] = document.querySelectorAll(".tools button");
    const svg = document.querySelector("[data-plot] svg");
    const seen = () => svg.getAttribute("viewBox").split(" ").map(Number);
    const before = seen(); more.click(); more.click(); const after = seen(); whole.click();
    document.body.dataset.zoom = JSON.stringify([before, after, seen()]);
    </script></body>"""
    zoomed = tmp_path / "zoomed.html"
    zoomed.write_text(text.replace("</body>", script))
    elements, console = opened(zoomed, tmp_path / "profile")
    assert console == []
    found = re.search(r'data-zoom="\[(.*?)\]"', elements)
    assert found is not None
    numbers = [float(part) for part in re.findall(r"-?[\d.]+", found.group(1))]
    before, after, whole = numbers[:4], numbers[4:8], numbers[8:]
    assert whole == before
    for side in (2, 3):
        assert after[side] == pytest.approx(before[side] / 1.6**2)
