"""Captured frames become the entries that a reader would have given."""

from pathlib import Path

import msgspec
import pytest

from client.capture import captured
from client.mapping import Mapper
from client.profile import load_profile, simulated_profile
from shared.errors import BadInput
from shared.updates import Entry, EntryKind, Update

PROFILE = simulated_profile("ws://127.0.0.1:7950", {})


def frame(clock_s: float, celsius: float) -> dict[str, object]:
    """A frame of the simulated host's protocol (docs/simulated-host.md)."""
    lines = [["nozzle.celsius", celsius]]
    params = {"no": 1, "clock_ms": round(1000.0 * clock_s), "lines": lines}
    return {"jsonrpc": "2.0", "method": "picture.lines", "params": params}


def written(path: Path, *lines: object) -> Path:
    path.write_bytes(b"\n".join(msgspec.json.encode(line) for line in lines) + b"\n")
    return path


def updates(path: Path) -> list[Update]:
    mapper = Mapper(PROFILE)
    return [update for entry in captured(path, PROFILE) for update in mapper.feed(entry)]


def test_enveloped_frames_keep_their_bytes_and_times(tmp_path: Path) -> None:
    """A frame goes on as it stands in the line: no number is written anew."""
    path = tmp_path / "a.ndjson"
    path.write_bytes(
        b'{"own_s": 5.5, "frame": {"a":  1.50}}\n\n{"own_s":6,"frame":"{\\"b\\":1}"}\n'
    )
    link, first, second = captured(path, PROFILE)
    assert link.kind is EntryKind.LINK
    assert first == Entry(5.5, EntryKind.MESSAGE, b'{"a":  1.50}')
    assert second == Entry(6.0, EntryKind.MESSAGE, b'{"b":1}')


def test_bare_frames_are_stamped_by_the_hosts_clock(tmp_path: Path) -> None:
    """A gap of a minute in the host's clock is a minute of the log, not a jump."""
    path = written(
        tmp_path / "a.ndjson", frame(100.0, 20.0), frame(100.25, 20.5), frame(160.0, 21.0)
    )
    found = updates(path)
    assert [update.time_s for update in found] == [100.0, 100.25, 160.0]
    assert [update.values["nozzle.temperature_c"] for update in found] == [20.0, 20.5, 21.0]


def test_a_host_that_restarted_does_not_turn_time_back(tmp_path: Path) -> None:
    path = written(tmp_path / "a.ndjson", frame(500.0, 20.0), frame(0.5, 21.0), frame(2.0, 22.0))
    times = [update.time_s for update in updates(path)]
    assert times == sorted(times)
    assert times[2] - times[1] == pytest.approx(1.5)


def test_bare_and_enveloped_give_the_same_updates(tmp_path: Path) -> None:
    frames = [frame(10.0 + 0.25 * number, 20.0 + number) for number in range(40)]
    bare = written(tmp_path / "a.ndjson", *frames)
    own = [{"own_s": 7.0 + 0.25 * number, "frame": each} for number, each in enumerate(frames)]
    assert updates(bare) == updates(written(tmp_path / "b.ndjson", *own))


@pytest.mark.parametrize(
    ("line", "what"),
    [
        (b"{broken", "is no JSON"),
        (b'{"own_s": "x", "frame": {}}', "own_s is no number"),
        (b'{"own_s": 1, "frame": {}}', "own_s falls"),
        (b"\xff\xfe", "is no JSON"),
        (b"[" * 100_000, "is no JSON"),
    ],
)
def test_a_bad_line_is_named(tmp_path: Path, line: bytes, what: str) -> None:
    path = tmp_path / "a.ndjson"
    path.write_bytes(b'{"own_s": 5, "frame": {}}\n' + line + b"\n")
    with pytest.raises(BadInput, match=r"a\.ndjson:2") as caught:
        list(captured(path, PROFILE))
    assert what in str(caught.value)


def test_frames_without_any_clock_ask_for_an_envelope(tmp_path: Path) -> None:
    profile = tmp_path / "p.toml"
    profile.write_text(
        'format = 1\n[[updates]]\nhas = "/t"\n[channels.nozzle]\ntemperature_c = "/t"\n'
    )
    path = written(tmp_path / "a.ndjson", {"t": 20.0})
    with pytest.raises(BadInput, match="own_s"):
        list(captured(path, load_profile(profile)))
