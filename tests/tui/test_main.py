"""What a run ends with when ohmvigil itself is at fault."""

import importlib
import re
import types
from pathlib import Path

import pytest

import tui.main


def broken(_: object) -> int:
    raise KeyError("nozzle\x1b[2J\nsecond line")


def test_a_fault_of_our_own_is_one_line_and_a_file(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """No traceback and no control character on the terminal; where it happened is in the file, in
    the user's state folder."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setattr(importlib, "import_module", lambda _: types.SimpleNamespace(run=broken))
    assert tui.main.run(["check", "night.ohmv"]) == tui.main.OWN_FAULT
    said = capsys.readouterr().err
    assert re.fullmatch(r"ohmvigil: a fault of ohmvigil itself: KeyError: .*\n", said)
    assert "\x1b" not in said
    (kept,) = (tmp_path / "ohmvigil").iterdir()
    assert str(kept) in said
    assert "in broken" in kept.read_text()
    assert kept.stat().st_mode & 0o077 == 0


def test_a_fault_is_told_even_where_no_file_can_be_written(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    monkeypatch.setattr(importlib, "import_module", lambda _: types.SimpleNamespace(run=broken))
    assert tui.main.run(["check", "night.ohmv"]) == tui.main.OWN_FAULT
    assert "please report it" in capsys.readouterr().err
