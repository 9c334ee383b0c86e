"""The JSON-RPC peer: what it reads, what it refuses, and that answers find their requests."""

import contextlib
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, invariant, rule

from client.jsonrpc import MAX_NESTING, Bare, Call, Failure, Peer, Refused, Response, decode
from tests.client.oracles import jsonrpcserver
from tests.levels import some


def test_a_request_is_answered_by_an_independent_server() -> None:
    """jsonrpcserver understands our request, and we its answer and its refusal."""
    peer = Peer()
    methods = {"add": lambda a, b: jsonrpcserver.Success(a + b)}
    good = jsonrpcserver.dispatch(peer.request("add", [2, 3]).decode(), methods=methods)
    bad = jsonrpcserver.dispatch(peer.request("nothing").decode(), methods=methods)
    assert peer.receive(good.encode()) == [Response("add", 1, 5)]
    # JSON-RPC 2.0, section 5.1 (published): −32601, method not found.
    assert peer.receive(bad.encode()) == [Failure("nothing", 2, -32601, "Method not found")]
    assert not peer.waiting


def test_a_notification_gets_no_answer_from_an_independent_server() -> None:
    """It has no id, and leaves nothing waiting."""
    peer = Peer()
    methods = {"note": jsonrpcserver.Success}
    assert jsonrpcserver.dispatch(peer.notify("note").decode(), methods=methods) == ""
    assert not peer.waiting


def test_the_examples_of_the_specification() -> None:
    """JSON-RPC 2.0, section 7 (published): a notification, an error, and a batch."""
    peer = Peer()
    note = b'{"jsonrpc": "2.0", "method": "update", "params": [1,2,3,4,5]}'
    assert peer.receive(note) == [Call("update", [1, 2, 3, 4, 5])]
    parse = b'{"jsonrpc": "2.0", "error": {"code": -32700, "message": "Parse error"}, "id": null}'
    assert peer.receive(parse) == [Failure(None, None, -32700, "Parse error")]
    peer.request("sum")
    batch = b'[{"jsonrpc": "2.0", "result": 7, "id": 1}, ' + parse + b"]"
    assert peer.receive(batch) == [
        Response("sum", 1, 7),
        Failure(None, None, -32700, "Parse error"),
    ]


@pytest.mark.parametrize(
    ("frame", "why"),
    [
        (b"", "not JSON"),
        (b"hello", "not JSON"),
        (b'{"a":NaN}', "not JSON"),
        (b'{"a":Infinity}', "not JSON"),
        (b'{"a":1e999}', "number out of range"),
        (b'{"a":-1e999}', "number out of range"),
        (b'{"a":' + b"9" * 5000 + b"}", "number out of range"),
        (b'{"a":"\xff"}', "not UTF-8"),
        (b"[" * 100_000, "nested too deeply"),
        (b"[" * 200_000 + b"]" * 200_000, "nested too deeply"),
        (b"[" * (MAX_NESTING + 1) + b"]" * (MAX_NESTING + 1), "nested too deeply"),
        (b"\x00\x01\x02", "not JSON"),
    ],
)
def test_what_is_not_strict_json_is_refused_in_a_few_words(frame: bytes, why: str) -> None:
    """RFC 8259 has no NaN, no infinity; numbers beyond a float and deep nests are hostile."""
    with pytest.raises(Refused, match=why):
        decode(frame)


def test_the_deepest_nesting_that_is_read() -> None:
    """The limit itself passes, and many brackets side by side are not deep."""
    deep = b"[" * MAX_NESTING + b"]" * MAX_NESTING
    assert decode(deep) == json.loads(deep)
    wide = json.dumps([[{}] for _ in range(500)]).encode()
    assert decode(wide) == json.loads(wide)
    assert decode(b'"' + b"[" * 1000 + b'"') == "[" * 1000


def test_of_duplicate_keys_the_last_wins() -> None:
    """As in the standard library; RFC 8259 leaves it open."""
    assert decode(b'{"a":1,"a":2}') == json.loads('{"a":1,"a":2}') == {"a": 2}


def test_words_of_a_refusal_are_cleaned() -> None:
    """A host's words may hold escape sequences."""
    frame = b'{"jsonrpc":"2.0","id":1,"error":{"code":1,"message":"no\\u001b[2J\\u202eevil"}}'
    peer = Peer()
    peer.request("open")
    assert peer.receive(frame) == [Failure("open", 1, 1, "no[2Jevil")]


json_values: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**60), 2**60) | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["jsonrpc", "id", "method", "params", "result", "error", "code"])
            | st.text(max_size=2),
            inner,
            max_size=5,
        )
    ),
    max_leaves=12,
)


@given(json_values)
def test_any_json_is_read_as_something(value: Any) -> None:
    """No JSON makes the peer fail, and what has no envelope comes back as it is."""
    peer = Peer()
    peer.request("a")
    got = peer.receive(json.dumps(value).encode())
    assert got
    if not isinstance(value, dict | list):
        assert got == [Bare(value)]


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused(frame: bytes) -> None:
    """Nothing but Refused comes out of garbage."""
    with contextlib.suppress(Refused):
        assert Peer().receive(frame)


class Conversation(RuleBasedStateMachine):
    """Requests and answers in any order, singly or in batches, answers never asked for too."""

    open_ids = Bundle("open_ids")

    def __init__(self) -> None:
        super().__init__()
        self.peer = Peer()
        self.asked: dict[int, str] = {}

    @rule(target=open_ids, method=st.sampled_from(["a", "b", "c"]))
    def ask(self, method: str) -> int:
        sent = json.loads(self.peer.request(method, {"x": 1}))
        assert sent["jsonrpc"] == "2.0"
        assert sent["method"] == method
        assert sent["id"] not in self.asked
        self.asked[sent["id"]] = method
        return int(sent["id"])

    @rule(number=consumes(open_ids), is_error=st.booleans())
    def answer(self, number: int, is_error: bool) -> None:
        reply: dict[str, Any] = {"jsonrpc": "2.0", "id": number}
        reply |= {"error": {"code": 5, "message": "no"}} if is_error else {"result": [number]}
        method = self.asked.pop(number)
        expected = (
            Failure(method, number, 5, "no") if is_error else Response(method, number, [number])
        )
        assert self.peer.receive(json.dumps(reply).encode()) == [expected]

    @rule(first=consumes(open_ids), second=consumes(open_ids))
    def answer_two_at_once(self, first: int, second: int) -> None:
        batch = [{"jsonrpc": "2.0", "id": n, "result": n} for n in (second, first)]
        got = self.peer.receive(json.dumps(batch).encode())
        assert got == [
            Response(self.asked.pop(second), second, second),
            Response(self.asked.pop(first), first, first),
        ]

    @rule(number=st.integers(10**6, 10**7) | st.booleans() | st.text(max_size=3) | st.none())
    def answer_unasked(self, number: Any) -> None:
        reply = {"jsonrpc": "2.0", "id": number, "result": 1}
        assert self.peer.receive(json.dumps(reply).encode()) == [Bare(reply)]

    @rule()
    def call(self) -> None:
        frame = b'{"jsonrpc":"2.0","method":"m","params":{"y":2}}'
        assert self.peer.receive(frame) == [Call("m", {"y": 2})]

    @invariant()
    def waits_for_what_was_asked(self) -> None:
        assert dict(self.peer.waiting) == self.asked


TestConversation = Conversation.TestCase
TestConversation.settings = settings(max_examples=some(40), stateful_step_count=30, deadline=None)
