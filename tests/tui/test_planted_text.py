"""Hostile text in every input that is a file, and every output of it looked through."""

import os
import subprocess
import sys
import tempfile
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from recordings.writer import Recorder
from shared.events import Event
from shared.text import clean, cleaned, printable
from shared.updates import Update
from shared.words import Kind, Severity
from tests.tui.hostile import SEQUENCES, SILENT

ROOT = Path(__file__).parents[2]
LINKS = ("<img src=x onerror=alert(1)>", "[go](https://evil.example)", "![go](x)", "<b>up</b>")
HOSTILE = st.builds(
    lambda *parts: "".join(parts),
    st.just(SILENT),
    st.sampled_from(sorted(SEQUENCES.values())),
    st.text(max_size=20),
    st.sampled_from(LINKS),
    st.sampled_from(["\n# heading\n", "\r\n| a | b |\n", "\u2029", "\x85"]),
)
DROPPED = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def is_safe(text: str) -> bool:
    """No character but printable ones."""
    return all(unicodedata.category(char) not in DROPPED for char in text)


@given(st.text() | HOSTILE)
def test_what_leaves_has_no_control_and_keeps_its_spaces(text: str) -> None:
    """And what was clean is as it was."""
    assert is_safe(printable(text))
    assert printable(clean(text)) == clean(text)
    assert printable("  209.97   °C ") == "  209.97   °C "


NESTED = st.recursive(
    HOSTILE, lambda kids: st.lists(kids) | st.dictionaries(HOSTILE, kids), max_leaves=20
)


@settings(deadline=None)
@given(NESTED)
def test_texts_within_json_are_cleaned_however_deep(value: object) -> None:
    """Names as well."""
    assert all(is_safe(text) for text in _texts(cleaned(value)))


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for name, each in value.items():
            yield from (name, *_texts(each))
    elif isinstance(value, list):
        for each in value:
            yield from _texts(each)


def planted(path: Path, evil: str) -> None:
    """A recording with the text wherever a recording can hold one."""
    meta = {
        "title": f"attic {evil}",
        "versions": {"ohmvigil": evil, evil: "1"},
        "profile": {"format": 1, "title": evil, "addresses": [evil]},
        "chains": {f"nozzle {evil}": {"wires": 3}},
        "imported_from": evil,
    }
    recorder = Recorder(path, meta)
    times = np.arange(0.0, 200.0, 0.5)
    for n, time_s in enumerate(times):
        values: dict[str, float | str] = {
            "nozzle.temperature_c": 1010.0 if n % 50 > 45 else 210.0 + n % 3 * 0.1,
            f"hot {evil}.temperature_c": 60.0 + n % 3 * 0.1,
            "host.message": f"{evil} {n // 40}",
            "host.state": evil,
            "nozzle.flags": evil if n % 90 > 80 else "none",
        }
        recorder.updates([Update(float(time_s), values)])
    recorder.event(_event(evil))
    recorder.note(20.0, evil, "note", {evil: evil, "channel": evil})
    recorder.note(30.0, evil, "trial", {"channel": evil, "change": evil})
    recorder.note(40.0, evil, evil, {"outcome": [evil]})
    recorder.note(50.0, evil, "shelve", {"event_kind": evil, "channel": evil, "start_s": 1.0})
    recorder.close()


def _event(evil: str) -> Event:
    return Event(
        id=1,
        kind=Kind.SPIKE,
        channel=f"nozzle{evil}",
        start_s=5.0,
        end_s=6.0,
        severity=Severity.FAILURE,
        count=1,
        value=1.0,
        unit=evil,
        text=evil,
        tied_to=evil,
        facts={evil: evil},
    )


@pytest.mark.slow
@settings(
    max_examples=int(os.environ.get("TEXT_EXAMPLES", "2")),
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(HOSTILE)
def test_no_hostile_text_of_a_file_passes_any_output(evil: str) -> None:
    """Lines, JSON, page, Markdown, pictures, exports and bundles."""
    evil = evil.encode("utf-8", "ignore").decode()
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        night = home / "night.ohmv"
        planted(night, evil)
        profile = home / "p.toml"
        spelt = "".join(f"\\U{ord(char):08X}" for char in evil)
        profile.write_text(
            f'format = 1\ntitle = "a {spelt}"\n[channels.nozzle]\n'
            f'temperature_c = "/t"\nflags = {{ at = "/f", words = {{ "x" = "{spelt}" }} }}\n'
        )
        frames = home / "f.ndjson"
        frames.write_text(
            "\n".join(f'{{"own_s": {n}, "frame": {{"t": 20.5, "f": "x"}}}}' for n in range(60))
        )
        for arguments in (
            ["import", "f.ndjson", "--profile", "p.toml", "-o", "i.ohmv"],
            ["judge", "i.ohmv"],
            ["judge", "night.ohmv"],
            ["judge", "night.ohmv", "--json"],
            ["report", "night.ohmv", "-o", "a.html"],
            ["report", "night.ohmv", "-o", "a.md"],
            ["export", "night.ohmv", "-o", "a.csv", "--for-spreadsheet"],
            ["bundle", "night.ohmv", "-o", "a.zip"],
            ["check", "night.ohmv"],
            ["judge", "p.toml", "--profile", "night.ohmv"],
        ):
            said = _run(arguments, home)
            assert "Traceback" not in said
            assert is_safe(said.replace("\n", "")), arguments
        for path in (home / "a.html", home / "a.md", home / "a.csv", *home.rglob("*.svg")):
            text = path.read_text(encoding="utf-8")
            # A word joiner of ours keeps a tracker from linking.
            loose = text.replace("\n", "").replace("\r", "").replace("\u2060", "")
            if path.suffix == ".html":
                loose = loose.replace("\t", "")
            assert is_safe(loose), path.name
            if path.suffix != ".csv":
                assert "<img src=x" not in text, path.name
                assert "<b>up" not in text, path.name
            if path.suffix == ".md":
                assert "](https://evil" not in text
                assert "](x)" not in text
                assert "\n# heading" not in text


def _run(arguments: list[str], home: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "tui.main", *arguments],
        check=False,
        cwd=home,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(ROOT), "XDG_CONFIG_HOME": str(home)},
    )
    assert done.returncode in (0, 1, 2), done.stdout[-2000:]
    return done.stdout.decode()
