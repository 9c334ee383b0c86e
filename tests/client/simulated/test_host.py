"""The host over a real socket, seen by the websockets library's own client."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from websockets.exceptions import ConnectionClosed, WebSocketException
from websockets.sync.client import ClientConnection, connect

from client.simulated.host import SimulatedHost
from client.simulated.machine import Machine
from client.simulated.rhythm import PERIOD_S
from client.simulated.scenario import Scenario, load_scenario
from client.simulated.session import MOST_WAITING, Session
from client.simulated.truth import TruthLog
from shared.errors import BadInput

FOLLOW = {"jsonrpc": "2.0", "id": 1, "method": "picture.follow", "params": {"client": "test"}}
WAIT_S = 20.0


@contextmanager
def running(scenario: Scenario, **options: Any) -> Iterator[SimulatedHost]:
    host = SimulatedHost(scenario, **options)
    host.start()
    try:
        yield host
    finally:
        host.stop()


def ask(socket: ClientConnection, message: object) -> dict[str, Any]:
    socket.send(message if isinstance(message, str | bytes) else json.dumps(message))
    return answer(socket)


def answer(socket: ClientConnection) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(socket.recv(WAIT_S))
    assert found["jsonrpc"] == "2.0"
    return found


def all_of(socket: ClientConnection) -> list[dict[str, Any]]:
    """Messages until the host closes."""
    found = []
    try:
        while True:
            found.append(answer(socket))
    except ConnectionClosed:
        return found


def expected(name: str, seed: int, for_s: float) -> list[dict[str, Any]]:
    """What messages say, as the machine makes it, without a socket."""
    machine = Machine(load_scenario(name), seed)
    found: list[dict[str, Any]] = []
    while (moment := machine.advance()).time_s <= for_s:
        if moment.changes is not None:
            lines = [[path, value] for path, value in moment.changes.items()]
            found.append({"no": len(found) + 1, "clock_ms": moment.clock_ms, "lines": lines})
    return found


@pytest.mark.parametrize("speed", [40.0, 400.0])
def test_what_arrives_is_what_the_machine_made_at_any_speed(speed: float) -> None:
    """The whole picture first, then every change, to the last number; then a clean close."""
    with running(load_scenario("loose-terminal"), seed=4, speed=speed, for_s=30.0) as host:
        with connect(host.address) as socket:
            first = ask(socket, FOLLOW)
            told = all_of(socket)
            assert socket.close_code == 1000
        assert host.wait(WAIT_S)
        assert host.finished
    assert first["id"] == 1
    assert first["result"] == {"every_s": PERIOD_S, "pace": speed}
    assert {message["method"] for message in told} == {"picture.lines"}
    assert [message["params"] for message in told] == expected("loose-terminal", 4, 30.0)


def test_the_scenario_begins_with_the_first_client() -> None:
    """However long the host has been waiting, the first moment is the machine's first."""
    with (
        running(load_scenario("healthy-print"), speed=50.0) as host,
        connect(host.address) as idle,
        connect(host.address) as socket,
    ):
        ask(idle, {**FOLLOW, "method": "nothing"})
        ask(socket, FOLLOW)
        params = answer(socket)["params"]
        assert params == expected("healthy-print", 0, 1.0)[0]
        assert ["host.stands", "serving"] in params["lines"]


def test_several_clients_are_told_the_same() -> None:
    """A later one's whole picture is the earlier one's changes added up; each counts its own."""
    with (
        running(load_scenario("healthy-print"), speed=20.0) as host,
        connect(host.address) as one,
        connect(host.address) as other,
    ):
        ask(one, FOLLOW)
        known: dict[str, Any] = {}
        for _ in range(20):
            known.update(answer(one)["params"]["lines"])
        ask(other, FOLLOW)
        late = answer(other)["params"]
        while True:
            params = answer(one)["params"]
            known.update(params["lines"])
            if params["clock_ms"] == late["clock_ms"]:
                break
        assert dict(late["lines"]) == known
        assert (late["no"], params["no"] > 20) == (1, True)
        mine, theirs = answer(one)["params"], answer(other)["params"]
        assert mine.pop("no") == params["no"] + 1
        assert theirs.pop("no") == 2
        assert mine == theirs


def test_asking_again_is_acknowledged_and_changes_nothing() -> None:
    """The numbers run on, and no second whole picture comes."""
    with (
        running(load_scenario("healthy-print"), speed=20.0) as host,
        connect(host.address) as socket,
    ):
        ask(socket, FOLLOW)
        told = [answer(socket)]
        socket.send(json.dumps({**FOLLOW, "id": 2}))
        while "result" not in told[-1]:
            told.append(answer(socket))
        assert told.pop()["id"] == 2
        told.append(answer(socket))
        assert [message["params"]["no"] for message in told] == list(range(1, len(told) + 1))
        assert len(told[-1]["params"]["lines"]) < len(told[0]["params"]["lines"])


@pytest.mark.parametrize(
    ("request_", "number", "code"),
    [
        ("{not json", None, -32700),
        (b"\xff\xfe", None, -32700),
        ("[" * 20_000, None, -32700),
        ("[]", None, -32600),
        ('{"id": 5, "method": "picture.follow"}', None, -32600),
        ({"jsonrpc": "2.0", "id": 5, "method": 7}, None, -32600),
        ({"jsonrpc": "2.0", "id": "a", "method": "picture.shut"}, "a", -32601),
        ({**FOLLOW, "id": 6, "params": [1]}, 6, -32602),
    ],
)
def test_bad_requests_are_answered_by_the_codes_of_json_rpc(
    request_: object, number: object, code: int
) -> None:
    """JSON-RPC 2.0, section 5.1; and the connection lives on."""
    with running(load_scenario("healthy-print")) as host, connect(host.address) as socket:
        found = ask(socket, request_)
        assert (found["id"], found["error"]["code"]) == (number, code)
        assert "result" in ask(socket, FOLLOW)


def test_a_notification_is_not_answered() -> None:
    """No id, no answer, even for a method that is unknown."""
    with running(load_scenario("healthy-print")) as host, connect(host.address) as socket:
        socket.send(json.dumps({"jsonrpc": "2.0", "method": "picture.shut"}))
        assert ask(socket, FOLLOW)["id"] == 1


def test_a_dropped_link_refuses_and_then_takes_clients_again() -> None:
    """The socket breaks, connecting is refused for the outage, and then all is as before."""
    scenario = load_scenario("link-drops")
    with running(scenario, speed=100.0, for_s=3000.0) as host:
        with connect(host.address) as socket:
            ask(socket, FOLLOW)
            before = all_of(socket)
            assert socket.close_code == 1006
        # A broken connection may lose what was on the way: nothing is later than the break.
        assert 0 < before[-1]["params"]["clock_ms"] <= 76_500
        with _persistent(host.address) as socket:
            ask(socket, FOLLOW)
            params = answer(socket)["params"]
            assert params["clock_ms"] > 84_000
            assert params["no"] == 1
            assert {"host.stands", "nozzle.celsius", "fan.part"} <= dict(params["lines"]).keys()


def _persistent(address: str) -> ClientConnection:
    for _ in range(2000):
        try:
            return connect(address)
        except (OSError, WebSocketException):
            # Refused, or taken and broken off before the handshake was over.
            threading.Event().wait(0.005)
    raise AssertionError("never came back")


async def test_a_client_that_does_not_read_is_dropped() -> None:
    """Its queue is bounded: one frame too many, and the connection is broken off."""
    socket = mock.Mock()
    session = Session(socket, 1.0)
    for _ in range(MOST_WAITING):
        session.send(b"{}")
    assert not socket.transport.abort.called
    session.send(b"{}")
    assert socket.transport.abort.called


def test_a_deaf_client_does_not_hold_up_the_others_nor_the_end() -> None:
    """Frames it never reads wait in its own queue only, and at the end it is cut off."""
    scenario = load_scenario("healthy-print")
    with running(scenario, speed=1000.0, for_s=600.0) as host:
        with connect(host.address, max_queue=1) as deaf, connect(host.address) as reader:
            deaf.send(json.dumps(FOLLOW))
            ask(reader, FOLLOW)
            count = len(all_of(reader))
            assert host.wait(WAIT_S)
            deaf.socket.close()
        assert count > 0.96 * 600.0 / PERIOD_S


def test_stopping_closes_every_client() -> None:
    """In the middle of a scenario, and without a scenario begun."""
    host = SimulatedHost(load_scenario("healthy-print"))
    host.start()
    with connect(host.address) as begun, connect(host.address) as idle:
        ask(begun, FOLLOW)
        stopper = threading.Thread(target=host.stop)
        stopper.start()
        all_of(begun)
        all_of(idle)
        stopper.join(WAIT_S)
        assert (begun.close_code, idle.close_code) == (1000, 1000)
    assert host.finished


def test_a_port_in_use_is_one_clear_line() -> None:
    """The address, what is wrong, what to do."""
    with running(load_scenario("healthy-print")) as host:
        port = int(host.address.rpartition(":")[2])
        with pytest.raises(BadInput, match=rf"127\.0\.0\.1:{port}: cannot listen: .*another port"):
            SimulatedHost(load_scenario("healthy-print"), port=port).start()


@pytest.mark.parametrize("speed", [0.0, -1.0, 1e6, float("nan")])
def test_an_impossible_speed_is_refused(speed: float) -> None:
    """Before anything is started."""
    with pytest.raises(BadInput, match="--speed"):
        SimulatedHost(load_scenario("healthy-print"), speed=speed)


def test_the_truth_can_be_written_beside(tmp_path: Path) -> None:
    """One line a moment, with what really was."""
    path = tmp_path / "truth.ndjson"
    log = TruthLog(path)
    scenario = load_scenario("loose-terminal")
    options = {"speed": 200.0, "for_s": 30.0, "on_moment": log.write}
    with running(scenario, **options) as host, connect(host.address) as socket:
        ask(socket, FOLLOW)
        all_of(socket)
    log.close()
    lines = [json.loads(line) for line in path.read_text().splitlines()]
    assert len(lines) == pytest.approx(30.0 / PERIOD_S, abs=2)
    assert any("loose-contact nozzle" in line["faults"] for line in lines)
    assert lines[0]["element_c"]["nozzle"] == pytest.approx(210.0, abs=0.5)
    with pytest.raises(BadInput, match="directory"):
        TruthLog(tmp_path)
