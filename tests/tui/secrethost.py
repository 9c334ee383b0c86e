"""A host on loopback that says back every secret it is told, and a world with secrets in it."""

import asyncio
import json
import os
import sqlite3
import stat
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import pyarrow.parquet as parquet
import websockets
from websockets.asyncio.server import ServerConnection, serve

from recordings.reader import Recording
from tests.serving import Serving

ROOT = Path(__file__).parents[2]


class TellTale(Serving):
    """Sends readings with a fault, and what it was told: path, headers and every message."""

    def __init__(self) -> None:
        super().__init__("telltale")
        self.heard = ""

    async def listen(self) -> None:
        async with serve(self._talk, "127.0.0.1", 0) as server:
            port = next(iter(server.sockets)).getsockname()[1]
            await self.be_at(f"ws://127.0.0.1:{port}/feed")

    async def _talk(self, link: ServerConnection) -> None:
        request = link.request
        assert request is not None
        said = [f"path {request.path}", f"header {request.headers.get('Authorization', '')}"]
        self.heard += " ".join(said)
        with suppress(websockets.ConnectionClosed):
            for n in range(10_000):
                with suppress(TimeoutError):
                    async with asyncio.timeout(0.1):
                        message = await link.recv()
                    said.append(f"message {message!r}")
                    self.heard += said[-1]
                temperature = 210.0 + (n % 5) * 0.11 + (800.0 if n % 9 == 8 else 0.0)
                told = {"t": temperature, "want": 210.0, "message": said[n % len(said)]}
                await link.send(json.dumps(told))
            await link.close(4000, f"no: {said[0]}"[:100])


@dataclass
class World:
    """A folder that is a user's home; what was printed, and how many outputs were read."""

    folder: Path
    variables: dict[str, str] = field(default_factory=dict)
    printed: list[tuple[str, bytes]] = field(default_factory=list)
    inputs: set[Path] = field(default_factory=set)
    read: int = 0

    def put(self, name: str, text: str, mode: int = 0o600) -> Path:
        """A file that the user brought: it may hold secrets."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        path.chmod(mode)
        self.inputs.add(path)
        return path

    def run(self, *arguments: str, code: int | None = 0) -> str:
        """One command; all that it printed."""
        done = subprocess.run(
            [sys.executable, "-m", "tui.main", *arguments],
            check=False,
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=40,
            env={
                **os.environ,
                "HOME": str(self.folder),
                "TMPDIR": str(self.folder),
                "XDG_DATA_HOME": str(self.folder),
                "XDG_CONFIG_HOME": str(self.folder),
                **self.variables,
            },
        )
        self.printed.append((" ".join(arguments[:1]), done.stdout))
        assert code is None or done.returncode == code, done.stdout[-2000:]
        return done.stdout.decode()

    def outputs(self) -> Iterator[tuple[str, bytes]]:
        """Every output by name: printed bytes, names of files, and files, unpacked as well."""
        yield from self.printed
        for path in sorted(self.folder.rglob("*")):
            yield "name", str(path.relative_to(self.folder)).encode()
            if path.is_file() and path not in self.inputs:
                yield str(path.relative_to(self.folder)), path.read_bytes()
                yield from _unpacked(path, self.folder)

    def found(self, secrets: dict[str, str]) -> list[str]:
        """Which of the secrets stand in which output."""
        hits = []
        for name, data in self.outputs():
            self.read += 1
            hits += [f"{where} in {name}" for where, s in secrets.items() if s.encode() in data]
        return hits


def _unpacked(path: Path, folder: Path) -> Iterator[tuple[str, bytes]]:
    if path.suffix == ".ohmv":
        with sqlite3.connect(path) as database:
            yield f"{path.name} as SQL", "\n".join(database.iterdump()).encode()
        recording = Recording(path)
        texts = [repr(recording.meta), repr(recording.notes), repr(recording.events())]
        texts += [repr(batch.texts) for batch in recording.batches()]
        texts += [repr(entry.payload) for entry in recording.entries()]
        recording.close()
        yield f"{path.name} unpacked", "\n".join(texts).encode()
    elif path.suffix == ".parquet":
        table = parquet.read_table(path)
        yield f"{path.name} unpacked", repr((table.schema.metadata, table.to_pydict())).encode()
    elif path.suffix == ".zip":
        target = folder / f"{path.name}-unpacked"
        with zipfile.ZipFile(path) as archive:
            archive.extractall(target)
        for inner in sorted(target.iterdir()):
            yield f"{path.name}/{inner.name}", inner.read_bytes()
            yield from _unpacked(inner, folder)


def mode_of(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)
