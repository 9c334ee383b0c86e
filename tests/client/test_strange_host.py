"""A host with a dialect of its own, watched by a profile alone, over TCP."""

import asyncio
import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from client.mapping import Mapper
from client.profile import load_profile
from client.reader import Reader
from shared.updates import Update

PROFILE = """\
format = 1
addresses = ["tcp://127.0.0.1:{port}"]
framing = "sequence"
clock_unit = "ms"

[[requests]]
json = '["greetings", {{"from": "a watcher"}}]'
envelope = false

[[requests]]
json = '{{"method": "tell me", "params": ["everything", true]}}'

[[updates]]
answer_to = "tell me"
status = "/result/1"
clock = "/result/0"

[[updates]]
method = "it changed"
status = "/params/1"
clock = "/params/0"

[channels."hot end"]
item = {{ list = "/sensors", key = "/what is it", equals = "Hot End (left)" }}
temperature_c = {{ at = "/reading/0", unit = "kelvin" }}
target_c = {{ at = "/reading/1", unit = "kelvin" }}
power = {{ at = "/duty", unit = "percent" }}
flags = {{ at = "/trouble", bits = {{ 1 = "input-out-of-range", 8 = "self-test" }} }}

[channels.motion]
x_mm = {{ at = "/where/0", unit = "inch" }}

[channels.host]
message = "/says"

[channels.host.state]
at = "/mood"
words = {{ "wide awake" = "up", sulking = "halted" }}

[[messages]]
pattern = "sensor .* unplugged"
channel = "hot end"
flags = "open"
"""


def hot_end(**facts: Any) -> dict[str, Any]:
    return {"what is it": "Hot End (left)", **facts}


ANSWER = [
    250_000,
    {
        "mood": "wide awake",
        "sensors": [{"what is it": "Bed"}, hot_end(reading=[483.15, 483.15], duty=41, trouble=0)],
        "where": [1, 2],
    },
]
CHANGES: list[list[Any]] = [
    [250_250, {"sensors": [hot_end(trouble=258)]}],
    [250_500, {"mood": "sulking", "says": "Sensor 1 unplugged"}],
]


async def text(reader: asyncio.StreamReader) -> Any:
    """One text of a JSON text sequence (RFC 7464, section 2.2)."""
    wire = await reader.readuntil(b"\n")
    assert wire.startswith(b"\x1e")
    return json.loads(wire[1:])


@pytest.fixture
def port() -> Iterator[int]:
    """The host runs in a thread of its own until the test is over."""
    loop = asyncio.new_event_loop()

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        greeting = await text(reader)
        assert greeting == ["greetings", {"from": "a watcher"}]
        asked = await text(reader)
        frames = [{"id": asked["id"], "result": ANSWER}]
        frames += [{"method": "it changed", "params": change} for change in CHANGES]
        texts = [b"not json", *(json.dumps(frame).encode() for frame in frames)]
        wire = b"".join(b"\x1e" + each + b"\n" for each in texts)
        for start in range(0, len(wire), 7):
            writer.write(wire[start : start + 7])
            await writer.drain()
        await reader.read()
        writer.close()

    server = loop.run_until_complete(asyncio.start_server(talk, "127.0.0.1", 0))
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    yield server.sockets[0].getsockname()[1]
    loop.call_soon_threadsafe(loop.stop)
    thread.join(10)
    server.close()
    loop.run_until_complete(asyncio.sleep(0))
    for task in asyncio.all_tasks(loop):
        task.cancel()
    loop.run_until_complete(asyncio.sleep(0))
    loop.close()


def test_it_is_watched_by_a_profile_alone(port: int, tmp_path: Path) -> None:
    """Positional parameters, a list of channels, names with spaces, its own units and words."""
    path = tmp_path / "strange.toml"
    path.write_text(PROFILE.format(port=port))
    profile = load_profile(path)
    reader, mapper = Reader(profile), Mapper(profile)
    updates: list[Update] = []
    reader.start()
    while len([update for update in updates if update.values]) < 1 + len(CHANGES):
        assert reader.wait(10), "the host's updates never came"
        assert reader.fatal is None
        updates += [update for entry in reader.take() for update in mapper.feed(entry)]
    reader.stop()
    first, second, third = [update for update in updates if update.values]
    assert first.time_s == 250.0
    assert first.values == {
        "hot end.temperature_c": pytest.approx(210.0),
        "hot end.target_c": pytest.approx(210.0),
        "hot end.power": pytest.approx(0.41),
        "hot end.flags": "none",
        "motion.x_mm": pytest.approx(25.4),
        "host.state": "up",
    }
    assert second == Update(250.25, {"hot end.flags": "input-out-of-range;self-test"})
    assert third == Update(
        250.5,
        {"host.message": "Sensor 1 unplugged", "host.state": "halted", "hot end.flags": "open"},
    )
    assert mapper.refused == {"not JSON": 1}
