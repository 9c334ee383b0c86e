"""The reader's thread and queue, over real sockets and a scripted network."""

import itertools
import threading
from collections.abc import Iterator

import pytest
from websockets.sync.server import Server, ServerConnection, serve

import client.reader
from client.form import Profile, UpdateSource
from client.profile import simulated_profile
from client.reader import Link, Reader
from client.transport import Closed, Unreachable
from shared.errors import BadInput
from shared.updates import Entry, EntryKind
from tests.client.doubles import ScriptedNetwork, Step

HOST = "ws://192.0.2.7:9000/feed"
SIMULATED = simulated_profile(HOST, {})


def collect(reader: Reader, count: int, kind: EntryKind = EntryKind.MESSAGE) -> list[Entry]:
    """Entries until `count` of one kind have come."""
    entries: list[Entry] = []
    while len([entry for entry in entries if entry.kind is kind]) < count:
        assert reader.wait(10), f"only {entries} came"
        entries += reader.take()
        assert reader.link.state is not Link.ENDED, reader.fatal
    return entries


@pytest.fixture
def server() -> Iterator[Server]:
    """A host that sends three frames after the request, then closes."""

    def talk(socket: ServerConnection) -> None:
        socket.recv()
        for n in range(3):
            socket.send(f'{{"n":{n}}}')

    with serve(talk, "127.0.0.1", 0, compression=None) as one:
        thread = threading.Thread(target=one.serve_forever)
        thread.start()
        yield one
        one.shutdown()
        thread.join()


def test_messages_are_stamped_and_kept_in_order_over_a_real_link(server: Server) -> None:
    """Link news first, then every frame as it came, then the loss and a new link."""
    profile = simulated_profile(f"ws://127.0.0.1:{server.socket.getsockname()[1]}", {})
    reader = Reader(profile)
    reader.start()
    entries = [e for e in collect(reader, 4) if e.kind is not EntryKind.TICK]
    reader.stop()
    assert [entry.payload for entry in entries if entry.kind is EntryKind.MESSAGE][:4] == [
        b'{"n":0}',
        b'{"n":1}',
        b'{"n":2}',
        b'{"n":0}',
    ]
    assert [entry.kind for entry in entries[:6]] == [
        EntryKind.LINK,
        *[EntryKind.MESSAGE] * 3,
        *[EntryKind.LINK] * 2,
    ]
    assert b'"up":false' in entries[4].payload
    assert all(a.own_s <= b.own_s for a, b in itertools.pairwise(entries))
    assert reader.link.state is Link.ENDED
    assert reader.fatal is None


def test_silence_is_ticked() -> None:
    """A tick each second without a message, before and after the link is lost."""
    network = ScriptedNetwork([b"{}", Closed("bye")], [])
    reader = Reader(SIMULATED, connect=network.connect)
    reader.start()
    entries = collect(reader, 2, EntryKind.TICK)
    reader.stop()
    ticks = [entry.own_s for entry in entries if entry.kind is EntryKind.TICK]
    (last,) = [entry.own_s for entry in entries if entry.kind is EntryKind.MESSAGE]
    assert ticks[0] - last >= client.reader.TICK_S
    assert ticks[1] - ticks[0] >= client.reader.TICK_S


def test_a_slow_taker_loses_the_oldest_and_is_told_how_many(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The queue is bounded by entries; what is newest is kept."""
    monkeypatch.setattr(client.reader, "MAX_UNREAD", 10)
    frames: list[Step] = [b"%d" % n for n in range(50)]
    reader = Reader(SIMULATED, connect=ScriptedNetwork([*frames, Closed("x")], []).connect)
    reader.start()
    while reader.dropped < 41:  # link, 50 frames, link, link: 53 entries, 10 stay
        assert reader.wait(10)
    reader.stop()
    kept = [entry.payload for entry in reader.take() if entry.kind is EntryKind.MESSAGE]
    assert kept == [b"%d" % n for n in range(50 - len(kept), 50)]


def test_a_queue_is_bounded_by_bytes_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """A few large frames count as many small ones."""
    monkeypatch.setattr(client.reader, "MAX_UNREAD_BYTES", 1000)
    frames: list[Step] = [b"x" * 400] * 5
    reader = Reader(SIMULATED, connect=ScriptedNetwork([*frames, b"end"]).connect)
    reader.start()
    while reader.dropped < 4:  # the link's news and three of five
        assert reader.wait(10)
    reader.stop()
    assert [len(e.payload) for e in reader.take() if e.kind is EntryKind.MESSAGE] == [400, 400, 3]


def test_a_few_can_be_taken_at_a_time() -> None:
    """The rest stays in the queue, in order."""
    reader = Reader(SIMULATED, connect=ScriptedNetwork([b"1", b"2", b"3"]).connect)
    reader.start()
    taken: list[Entry] = []
    while len(taken) < 4:
        assert reader.wait(10)
        few = reader.take(1)
        assert len(few) <= 1
        taken += few
    reader.stop()
    assert [entry.payload for entry in taken[1:]] == [b"1", b"2", b"3"]


def test_a_bad_end_is_reported_and_wakes_who_waits() -> None:
    """`fatal` says why; the thread is gone."""
    bad = BadInput(HOST, "the peer speaks no WebSocket", "check address and port")
    reader = Reader(SIMULATED, connect=ScriptedNetwork(bad).connect)
    reader.start()
    assert reader.wait(10)
    assert reader.fatal is bad
    assert reader.link.state is Link.ENDED
    assert reader.link.why == bad.what
    reader.stop()


def test_a_fault_of_our_own_is_not_silent() -> None:
    """An unforeseen exception in the thread ends the watch with a line, not with nothing."""
    reader = Reader(SIMULATED, connect=ScriptedNetwork(RuntimeError("oops\x1b")).connect)
    reader.start()
    assert reader.wait(10)
    assert str(reader.fatal) == (
        f"{HOST}: the reader failed: RuntimeError: oops; report it as a fault of ohmvigil"
    )
    reader.stop()


def test_the_link_says_that_it_is_open() -> None:
    """At the first attempt."""
    reader = Reader(SIMULATED, connect=ScriptedNetwork([b"{}"]).connect)
    reader.start()
    collect(reader, 1)
    assert (reader.link.state, reader.link.attempts) == (Link.OPEN, 1)
    reader.stop()


def test_the_link_says_why_it_is_lost_and_how_often_it_was_tried() -> None:
    """The newest reason counts."""
    network = ScriptedNetwork([b"{}", Closed("bye")], Unreachable("connection refused"))
    reader = Reader(SIMULATED, connect=network.connect)
    reader.start()
    while reader.link.why != "connection refused":
        assert reader.wait(10)
        reader.take()
    assert reader.link.state is Link.LOST
    assert reader.link.attempts >= 2
    assert reader.link.next_own_s is not None
    reader.stop()


def test_a_flood_does_not_keep_the_reader_from_stopping() -> None:
    """A host that never lets the loop rest is still left when asked to."""
    network = ScriptedNetwork(itertools.repeat(b"{}"))
    reader = Reader(SIMULATED, connect=network.connect)
    reader.start()
    collect(reader, 10_000)
    reader.stop()
    assert not reader.is_running
    assert reader.fatal is None


def test_a_reader_that_never_started_can_be_stopped() -> None:
    """And a profile without an address is refused at once."""
    Reader(SIMULATED).stop()
    with pytest.raises(BadInput):
        Reader(Profile(format=1, updates=(UpdateSource(),)))
