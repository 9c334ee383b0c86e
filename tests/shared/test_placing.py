"""Output files: the old one or the new, whole; private where it must be."""

import errno
import os
import stat
from pathlib import Path

import pytest

from shared.errors import BadInput
from shared.placing import PRIVATE, leftovers, place_text, placed, placed_path


@pytest.fixture(autouse=True)
def plain_umask() -> object:
    """The usual one, whatever the machine has."""
    before = os.umask(0o022)
    yield
    os.umask(before)


def mode_of(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_file_takes_its_place_when_it_is_whole(tmp_path: Path) -> None:
    out = tmp_path / "out.txt"
    out.write_text("old")
    with placed(out) as file:
        file.write(b"new")
        file.flush()
        assert out.read_text() == "old"
        (part,) = leftovers(out)
        assert part.read_text() == "new"
    assert out.read_text() == "new"
    assert list(tmp_path.iterdir()) == [out]


def test_an_old_file_survives_a_failure_and_nothing_is_left(tmp_path: Path) -> None:
    """A full disk is one line; any other trouble stays what it is."""
    out = tmp_path / "out.txt"
    out.write_text("old")
    with pytest.raises(BadInput, match=r"out.txt: no space left on device; check"):
        _write_on_a_full_disk(out)
    with pytest.raises(KeyboardInterrupt), placed(out):
        raise KeyboardInterrupt
    assert out.read_text() == "old"
    assert list(tmp_path.iterdir()) == [out]


def test_a_killed_writer_leaves_the_old_file(tmp_path: Path) -> None:
    """And its own part, which is known as such."""
    out = tmp_path / "out.txt"
    out.write_text("old")
    child = os.fork()
    if child == 0:
        with placed(out) as file:
            file.write(b"half")
            os.kill(os.getpid(), 9)
    os.waitpid(child, 0)
    assert out.read_text() == "old"
    assert len(leftovers(out)) == 1


def test_names_of_parts_cannot_be_guessed_nor_be_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out.txt"
    names = set()
    for _ in range(20):
        with placed_path(out) as part:
            names.add(part.name)
            part.write_text("x")
    assert len(names) == 20
    (tmp_path / "elsewhere").write_text("mine")
    monkeypatch.setattr("secrets.token_hex", lambda size: "0" * 2 * size)
    (tmp_path / f".out.txt.{'0' * 32}.part").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(BadInput, match="file exists"):
        place_text(out, "guessed")
    assert (tmp_path / "elsewhere").read_text() == "mine"


def test_modes_are_the_umask_s_or_private_and_never_wider_than_before(tmp_path: Path) -> None:
    place_text(tmp_path / "page", "x")
    place_text(tmp_path / "secret", "x", PRIVATE)
    assert (mode_of(tmp_path / "page"), mode_of(tmp_path / "secret")) == (0o644, 0o600)
    place_text(tmp_path / "secret", "y")
    assert mode_of(tmp_path / "secret") == 0o600


def test_a_link_stays_and_what_it_names_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to("real")
    place_text(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"


def test_without_replacing_what_came_meanwhile_stays(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with pytest.raises(FileExistsError):
        _meet_another(out)
    assert out.read_text() == "another's"
    assert list(tmp_path.iterdir()) == [out]


def test_folders_are_refused_and_pipes_are_written_to(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="is a folder"):
        place_text(tmp_path, "x")
    place_text("/dev/null", "x")
    assert not Path("/dev/null").is_file()


def _write_on_a_full_disk(out: Path) -> None:
    with placed(out) as file:
        file.write(b"half")
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _meet_another(out: Path) -> None:
    with placed_path(out, replaces=False) as part:
        part.write_text("new")
        out.write_text("another's")
