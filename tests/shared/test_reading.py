"""A file is meant: pipes, devices and folders are told, at once."""

import os
from pathlib import Path

import pytest

import tui.main
from shared.errors import BadInput
from shared.reading import opened


def test_a_pipe_does_not_wait_for_a_writer(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", Path("/dev/zero")):
        with pytest.raises(BadInput, match="is no regular file; save it to a file first"):
            opened(path)
    with pytest.raises(BadInput, match="is a folder"):
        opened(tmp_path)


@pytest.mark.parametrize(
    "command",
    ["judge {}", "check {}", "note {} x", "learn {}", "budget --profile {}", "watch {}"],
)
def test_every_command_says_so(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    assert tui.main.run([word.format(pipe) for word in command.split()]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "pipe.toml: is no regular file" in line
