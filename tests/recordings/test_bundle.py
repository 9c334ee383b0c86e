"""Opening zips from strangers."""

import tempfile
import zipfile
from contextlib import suppress
from pathlib import Path

import pytest

from recordings.bundle import RECORDING, write_bundle
from recordings.logs import open_log
from shared.errors import BadInput
from tests.recordings.logs import joined, night, record


@pytest.fixture(autouse=True)
def unpacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of its own for what is unpacked, to see that nothing stays in it."""
    folder = tmp_path / "unpacked"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


def bundle(tmp_path: Path) -> Path:
    record(tmp_path / "a.ohmv", night(100))
    write_bundle(tmp_path / "a.zip", {RECORDING: tmp_path / "a.ohmv", "report.html": b"<p>"})
    return tmp_path / "a.zip"


def refusal(path: Path) -> str:
    with pytest.raises(BadInput) as caught:
        open_log(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_bundle_opens_as_its_recording_and_leaves_nothing_behind(
    tmp_path: Path, unpacked: Path
) -> None:
    path = bundle(tmp_path)
    log = open_log(path)
    assert joined(log.batches()) == night(100)
    assert [note.text for note in log.notes] == ["tightened the terminal"]
    assert log.path == path
    log.close()
    assert list(unpacked.iterdir()) == []


def test_the_same_files_give_the_same_bundle(tmp_path: Path) -> None:
    """No time of packing is in it."""
    write_bundle(tmp_path / "1.zip", {"a": b"x" * 1000})
    write_bundle(tmp_path / "2.zip", {"a": b"x" * 1000})
    assert (tmp_path / "1.zip").read_bytes() == (tmp_path / "2.zip").read_bytes()


def test_a_zip_without_a_recording_is_called_no_bundle(tmp_path: Path, unpacked: Path) -> None:
    write_bundle(tmp_path / "a.zip", {"letter.txt": b"hello"})
    assert "no bundle" in refusal(tmp_path / "a.zip")
    assert list(unpacked.iterdir()) == []


@pytest.mark.parametrize("name", ["../../recording.ohmv", "/recording.ohmv", "x/recording.ohmv"])
def test_a_name_that_leads_elsewhere_is_never_followed(
    tmp_path: Path, unpacked: Path, name: str
) -> None:
    write_bundle(tmp_path / "a.zip", {name: b"SQLite format 3\0" + bytes(100)})
    assert "no bundle" in refusal(tmp_path / "a.zip")
    assert list(unpacked.iterdir()) == []


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path: Path, unpacked: Path) -> None:
    """64 MiB of zeros pack to some 64 KiB: a thousand times, which no recording does."""
    write_bundle(tmp_path / "a.zip", {RECORDING: bytes(64 << 20)})
    assert (tmp_path / "a.zip").stat().st_size < 100_000
    assert "not believable" in refusal(tmp_path / "a.zip")
    assert list(unpacked.iterdir()) == []


def test_a_size_that_is_a_lie_is_noticed(tmp_path: Path, unpacked: Path) -> None:
    """The directory of the archive says 2 MiB where 3 MiB come out."""
    write_bundle(tmp_path / "a.zip", {RECORDING: bytes(3 << 20)})
    true, lie = (3 << 20).to_bytes(4, "little"), (600_000).to_bytes(4, "little")
    data = (tmp_path / "a.zip").read_bytes()
    assert data.count(true) >= 1
    (tmp_path / "a.zip").write_bytes(data.replace(true, lie))
    refusal(tmp_path / "a.zip")
    assert list(unpacked.iterdir()) == []


def test_many_members_are_refused(tmp_path: Path) -> None:
    files: dict[str, Path | bytes] = {f"{number}": b"" for number in range(100)}
    write_bundle(tmp_path / "a.zip", files | {RECORDING: b"x"})
    assert "no bundle" in refusal(tmp_path / "a.zip")


def test_a_bundle_whose_recording_is_none_says_so(tmp_path: Path, unpacked: Path) -> None:
    write_bundle(tmp_path / "a.zip", {RECORDING: b"not a recording at all"})
    assert "is no recording" in refusal(tmp_path / "a.zip")
    assert list(unpacked.iterdir()) == []


def test_an_encrypted_bundle_says_so(tmp_path: Path) -> None:
    path = bundle(tmp_path)
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as archive:
        assert archive.infolist()[0].filename == RECORDING
    data[data.index(b"PK\x01\x02") + 8] |= 1
    data[6] |= 1
    path.write_bytes(data)
    assert "encrypted" in refusal(path)


def test_damage_anywhere_is_one_line(tmp_path: Path, unpacked: Path) -> None:
    """Bytes changed or cut at 60 places: it opens, or is refused as bad input."""
    path = bundle(tmp_path)
    data = path.read_bytes()
    opened = 0
    for number in range(60):
        at = number * len(data) // 60
        damaged = tmp_path / f"{number}.zip"
        damaged.write_bytes(data[:at] if number % 2 else data[:at] + b"\xff\0\xff" + data[at + 3 :])
        with suppress(BadInput):
            open_log(damaged).close()
            opened += 1
    assert opened < 60
    assert list(unpacked.iterdir()) == []


def test_a_link_in_the_place_of_the_recording_is_not_followed(
    tmp_path: Path, unpacked: Path
) -> None:
    """Its target is only text, and that is no recording."""
    target = tmp_path / "private.ohmv"
    record(target, night(60))
    info = zipfile.ZipInfo(RECORDING)
    info.external_attr = 0o120777 << 16
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr(info, str(target))
    assert "recording.ohmv in it: is no recording" in refusal(tmp_path / "a.zip")
    assert list(unpacked.iterdir()) == []
