"""What `record` says of its files."""

from types import SimpleNamespace
from typing import cast

import pytest

from tui.pipeline import Live
from tui.recording_lines import RecordingLines
from tui.snapshot import LinkState


def at(path: str) -> Live:
    """A watch that records into this file."""
    view = SimpleNamespace(path=path, trouble="")
    return cast(
        "Live",
        SimpleNamespace(recording=view, is_heard=True, link_state=LinkState.LOST, link_why=""),
    )


def test_each_file_is_said_once_and_none_when_the_last_is_closed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    lines = RecordingLines("attic")
    for path in ("a.ohmv", "a.ohmv", "b.ohmv", ""):
        lines.show(at(path))
    assert capsys.readouterr().out.splitlines() == [
        "recording attic to a.ohmv",
        "recording attic to b.ohmv",
    ]
