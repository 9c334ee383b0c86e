"""The report in a real browser: no console errors, readable without JavaScript, zoomable with it.

Needs a Chromium in the PATH; runs headless and without a network.
"""

import html
import json
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


AUDIT = """<script>
const faults = [];
const channels = (text) => text.match(/[\\d.]+/g).map(Number);
const linear = (part) => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
const luminance = ([r, g, b]) =>
  0.2126 * linear(r / 255) + 0.7152 * linear(g / 255) + 0.0722 * linear(b / 255);
const contrast = (a, b) => {
  const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y);
  return (high + 0.05) / (low + 0.05);
};
const behind = (element) => {
  for (let each = element; each; each = each.parentElement) {
    const found = channels(getComputedStyle(each).backgroundColor);
    if (found.length === 3 || found[3] === 1) return found;
  }
  return [255, 255, 255];
};
const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
let looked = 0;
while (texts.nextNode()) {
  const element = texts.currentNode.parentElement;
  if (!texts.currentNode.data.trim() || ["SCRIPT", "STYLE"].includes(element.tagName)) continue;
  if (!element.getClientRects().length) continue;
  const style = getComputedStyle(element), drawn = element.ownerSVGElement;
  const found = contrast(channels(drawn ? style.fill : style.color), behind(element));
  looked += 1;
  if (found < 4.5) faults.push(`contrast ${found}: ${texts.currentNode.data}`);
  const tall = drawn
    ? parseFloat(style.fontSize) * drawn.getBoundingClientRect().width / drawn.viewBox.baseVal.width
    : parseFloat(style.fontSize);
  if (tall < 9) faults.push(`small, ${tall} px: ${texts.currentNode.data}`);
}
if (looked < 50) faults.push(`only ${looked} texts`);
const wide = document.documentElement;
if (wide.scrollWidth > wide.clientWidth) faults.push(`wide: ${wide.scrollWidth}`);
const levels = [...document.querySelectorAll("h1, h2, h3, h4, h5, h6")].map((h) => +h.tagName[1]);
levels.forEach((level, at) => {
  if (level > (levels[at - 1] || 0) + 1) faults.push(`heading ${at}`);
});
if (levels.filter((level) => level === 1).length !== 1) faults.push("not one h1");
if (document.querySelectorAll("main").length !== 1) faults.push("not one main");
if (!document.documentElement.lang || !document.title) faults.push("no language or title");
for (const button of document.querySelectorAll("button")) {
  const { width, height } = button.getBoundingClientRect();
  if (width < 24 || height < 24) faults.push(`button of ${width} by ${height}`);
  if (!(button.ariaLabel || button.textContent).trim()) faults.push("button without a name");
}
for (const svg of document.querySelectorAll("svg"))
  if (svg.ariaHidden !== "true" && !(svg.role === "img" && svg.ariaLabel))
    faults.push("a picture without a name");
for (const each of document.querySelectorAll("*"))
  if (each.scrollWidth > each.clientWidth + 1 && getComputedStyle(each).overflowX === "auto"
      && each.tabIndex < 0) faults.push(`no key can scroll .${each.className}`);
const answer = document.querySelector(".answer").getBoundingClientRect();
const paper = luminance(behind(document.body));
document.documentElement.dataset.audit = JSON.stringify([faults, answer.bottom, paper]);
</script>"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [(400, 800), (1200, 800)])
def test_the_page_is_accessible_and_begins_with_the_answer(
    page: Path, tmp_path: Path, width: int, height: int, scheme: str
) -> None:
    """Text at 4.5 to 1 (WCAG 2.2, 1.4.3), no sideways scrolling, headings in order, controls of
    24 pixels (2.5.8) with names, pictures with names; verdict and next check on the first screen.
    """
    inner = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page.read_text())
    inner = inner.replace("</body>", AUDIT + "</body>")
    outer = tmp_path / "outer.html"
    outer.write_text(
        "<!doctype html><meta name='color-scheme' content='light dark'><iframe "
        f'style="border:0;width:{width}px;height:{height}px"></iframe><script>'
        "const frame = document.querySelector('iframe');"
        "frame.onload = () => { document.body.dataset.audit = "
        "frame.contentDocument.documentElement.dataset.audit || ''; };"
        f"frame.srcdoc = {json.dumps(inner).replace('</', '<' + chr(92) + '/')};</script>"
    )
    chosen = {"light": 1, "dark": 0}[scheme]
    elements, _ = opened(outer, tmp_path, f"--blink-settings=preferredColorScheme={chosen}")
    found = re.search(r'<body data-audit="([^"]+)"', elements)
    assert found is not None
    faults, bottom, paper = json.loads(html.unescape(found.group(1)))
    assert faults == []
    assert bottom <= height
    assert (paper < 0.2) == (scheme == "dark")


def test_the_file_is_small(page: Path) -> None:
    """Trackers take attachments of some megabytes."""
    assert page.stat().st_size < 1_000_000
