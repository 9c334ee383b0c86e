"""A bundle: a zip with a recording, its report, profile, versions and what was replaced.

It is opened as its recording. Files from strangers: only one known name is read, never
extracted by its own path, and no more than a bounded size.
"""

import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import IO

from recordings.bounds import survey
from recordings.files import os_error, shown
from recordings.reader import Recording
from shared.errors import BadInput
from shared.placing import placed
from shared.text import clean

MAGIC = b"PK\x03\x04"
RECORDING = "recording.ohmv"
MAX_MEMBERS = 64
MAX_BYTES = 4 << 30
"""Largest recording that a bundle may hold."""
MAX_RATIO = 20
"""How often larger than packed it may be: a recording's blocks are packed already."""
LEAST_JUDGED = 1 << 20
"""Up to this size, no ratio is too high."""

_MOMENT = (1980, 1, 1, 0, 0, 0)
_PIECE = 1 << 20


class Bundle(Recording):
    """The recording of a bundle; `close` removes what was unpacked."""

    def __init__(self, path: str | Path) -> None:
        zipped = Path(path)
        self._folder = tempfile.TemporaryDirectory(prefix="ohmvigil-")
        try:
            unpacked = Path(self._folder.name) / RECORDING
            _unpack(zipped, unpacked)
            super().__init__(unpacked)
            try:
                survey(self._connection, zipped)
            except BadInput:
                super().close()
                raise
        except BadInput as bad:
            self._folder.cleanup()
            raise BadInput(shown(zipped), f"{RECORDING} in it: {bad.what}", bad.do) from None
        except BaseException:
            self._folder.cleanup()
            raise
        self.path = zipped

    def close(self) -> None:
        super().close()
        self._folder.cleanup()


def write_bundle(path: str | Path, files: Mapping[str, Path | bytes]) -> None:
    """Write the files of a bundle, by name. It appears when it is complete. Raises BadInput."""
    path = Path(path)
    with (
        placed(path) as zipped,
        zipfile.ZipFile(zipped, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        for name, content in files.items():
            info = zipfile.ZipInfo(name, _MOMENT)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            with archive.open(info, "w", force_zip64=True) as out:
                if isinstance(content, bytes):
                    out.write(content)
                else:
                    with content.open("rb") as file:
                        shutil.copyfileobj(file, out, _PIECE)


def _unpack(path: Path, to: Path) -> None:
    """Unpack the recording; raises BadInput, whose `where` the caller gives."""
    do = "ask for the bundle again, or for the recording"
    try:
        with zipfile.ZipFile(path) as archive:
            members = [info for info in archive.infolist() if info.filename == RECORDING]
            if len(archive.infolist()) > MAX_MEMBERS or len(members) != 1:
                what = "the archive is no bundle of ohmvigil"
                raise BadInput(shown(path), what, "name one that `ohmvigil bundle` wrote")
            info = members[0]
            if info.flag_bits & 1:
                raise BadInput(shown(path), "it is encrypted", do)
            most = max(LEAST_JUDGED, MAX_RATIO * info.compress_size)
            if not 0 < info.file_size <= min(MAX_BYTES, most):
                what = f"it says that it unpacks to {info.file_size} bytes, which is not believable"
                raise BadInput(shown(path), what, do)
            with archive.open(info) as packed, to.open("wb") as out:
                _copy(packed, out, info.file_size)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError) as error:
        raise BadInput(shown(path), f"damaged: {clean(str(error))}", do) from None
    except RuntimeError as error:
        raise BadInput(shown(path), clean(str(error)), do) from None
    except OSError as error:
        raise os_error(path, error) from None


def _copy(packed: IO[bytes], out: IO[bytes], size: int) -> None:
    left = size
    while piece := packed.read(min(_PIECE, left + 1)):
        left -= len(piece)
        if left < 0:
            raise ValueError("it unpacks to more than it says")
        out.write(piece)
    if left:
        raise ValueError("it unpacks to less than it says")
