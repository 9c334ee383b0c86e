"""Hostile text and a host that says it everywhere, for tests of what reaches a terminal."""

import asyncio
import json
from typing import Any

import websockets
from websockets.asyncio.server import ServerConnection, serve

from tests.serving import Serving

SEQUENCES = {
    "clipboard (OSC 52)": "\x1b]52;c;ZXZpbA==\x07",
    "link (OSC 8)": "\x1b]8;;https://evil.example\x1b\\",
    "title (OSC 0)": "\x1b]0;evil\x07",
    "colour (CSI)": "\x1b[31;47;5m",
    "clear (CSI)": "\x1b[2J\x1b[31337H",
    "device control (DCS)": "\x1bP+q6576696c\x1b\\",
    "C1 CSI": "\x9b31337m",
    "C1 OSC": "\x9d0;evil\x9c",
    "C1 DCS": "\x90evil\x9c",
    "bidirectional override": "\u202e",
    "bidirectional isolate": "\u2066",
    "zero-width space": "\u200b",
    "zero-width joiner": "\u200d",
    "byte order mark": "\ufeff",
    "tag character": "\U000e0041",
    "line separator": "\u2028",
    "bell and backspace": "\x07\x08\x08\x08",
}
"""What must not reach a terminal. Sequences by ECMA-48 and the xterm documentation."""
OURS = "\r\x1b[K"
"""Our own line of progress is taken away by this."""
MARKUP = "[red]mark[/red]<b>up</b>"
SILENT = "\u202e\u200b\ufeff\U000e0041\x00\x1b"
EVIL = "".join(SEQUENCES.values())


def evil(word: str) -> str:
    """A word with what must not pass before, within and after it; what is printable, after it."""
    half = len(word) // 2
    return f"{SILENT}{word[:half]}{SILENT}{word[half:]}{MARKUP}{EVIL}"


def passed(output: bytes, *, plain: bool) -> list[str]:
    """Which of the sequences are in what came to a terminal; in `plain` output, any escape is."""
    text = output.decode("utf-8", "replace").replace(OURS, "")
    found = [
        name
        for name, sequence in SEQUENCES.items()
        if (plain or name not in ("colour (CSI)", "clear (CSI)", "bell and backspace"))
        and sequence in text
    ]
    if "\x1b[31;47;5m" in text or "\x1b[31337H" in text:
        found.append("CSI")
    if plain and any(ord(char) < 32 and char not in "\r\n\t" for char in text):
        found.append("a control character")
    if any(0x7F <= ord(char) < 0xA0 for char in text):
        found.append("a C1 control")
    return found


class HostileHost(Serving):
    """A WebSocket host whose every text is hostile; `way` says how it greets.

    talk: sends readings; refuse: answers the request with an error; close: closes with a
    reason; deny: HTTP status 403 with a body; move: redirects.
    """

    def __init__(self, way: str) -> None:
        super().__init__(way)
        self.way = way

    async def listen(self) -> None:
        """As a server of the library, or by hand where that would be too polite."""
        if self.way in ("deny", "move"):
            async with await asyncio.start_server(self._answer, "127.0.0.1", 0) as server:
                await self.be_at(_at(server.sockets[0].getsockname()[1]))
        else:
            async with serve(self._talk, "127.0.0.1", 0) as talker:
                await self.be_at(_at(next(iter(talker.sockets)).getsockname()[1]))

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """HTTP by hand: no server's library sends this. A header may hold 0x80 to 0xff."""
        await reader.readuntil(b"\r\n\r\n")
        thin = bytes(byte for byte in EVIL.encode("latin-1", "ignore") if byte >= 0x20)
        thin += "\u202e\u200b".encode()
        body = evil("body").encode()
        status, more = b"403 No", b""
        if self.way == "move":
            status, more = b"302 Found", b"Location: ws://elsewhere.example/" + thin + b"\r\n"
        head = b"HTTP/1.1 " + status + thin + b"\r\n" + more
        writer.write(head + b"Content-Length: %d\r\n\r\n" % len(body) + body)
        await writer.drain()
        writer.close()

    async def _talk(self, link: ServerConnection) -> None:
        if self.way == "refuse":
            request = json.loads(await link.recv())
            error = {"code": 7, "message": evil("refused"), "data": evil("data")}
            await link.send(json.dumps({"jsonrpc": "2.0", "id": request["id"], "error": error}))
            await link.wait_closed()
        if self.way == "close":
            await link.send(json.dumps(status(0)))
            await asyncio.sleep(0.3)
            await link.close(4000, f"\x1b]0;evil\x07{MARKUP}\u202eclosed"[:100])
            return
        try:
            for n in range(10_000):
                await link.send(json.dumps(status(n)))
                await asyncio.sleep(0.25)
        except websockets.ConnectionClosed:
            pass


def status(n: int) -> dict[str, Any]:
    """Readings of channels with hostile names; a flag and messages that raise events."""
    faulty = n % 12 in (6, 7)
    faults = [evil("cable")] if faulty else []
    nozzle = {"temp": 210.0 + (n % 5) * 0.11, "target": 210.0, "faults": faults}
    sidebar = {"temp": 22.0 + (n % 4) * 0.1 + (300.0 if faulty else 0.0), "faults": faults}
    return {
        "heaters": {evil("Nozzle"): nozzle, evil("Sidebar"): sidebar},
        "state": evil("ready"),
        "message": evil(f"all goes {n // 8} well"),
        evil("name"): evil("value"),
    }


def _at(port: int) -> str:
    return f"ws://127.0.0.1:{port}/feed"
