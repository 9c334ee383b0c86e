"""Framers against frames cut at random places."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from client.framing import (
    CUT_BYTES,
    MAX_FRAME_BYTES,
    ConcatenatedFramer,
    CutShort,
    DelimiterFramer,
    Framer,
    LengthFramer,
    MessageFramer,
    framer,
)


def cut(data: bytes, places: list[int]) -> list[bytes]:
    ends = sorted(place % (len(data) + 1) for place in places)
    starts = [0, *ends]
    return [data[a:b] for a, b in zip(starts, [*ends, len(data)], strict=True)]


def stream_framers(delimiter: int) -> list[Framer]:
    return [DelimiterFramer(delimiter), LengthFramer()]


@given(
    st.lists(st.binary(min_size=1, max_size=40)),
    st.integers(0, 255),
    st.lists(st.integers(0, 10_000), max_size=30),
)
def test_frames_come_out_as_they_went_in_wherever_the_stream_is_cut(
    bodies: list[bytes], delimiter: int, places: list[int]
) -> None:
    """Wrapping then feeding in any pieces gives the same frames, each once, in order."""
    for one in stream_framers(delimiter):
        whole = bodies
        if isinstance(one, DelimiterFramer):
            whole = [b for b in bodies if bytes([delimiter]) not in b]
            if delimiter == 0x0A:
                whole = [b for b in whole if not b.endswith(b"\r") and b[:1] != b"\x1e"]
        data = b"".join(one.wrap(body) for body in whole)
        assert [frame for piece in cut(data, places) for frame in one.feed(piece)] == whole


def test_a_newline_framer_takes_both_line_ends() -> None:
    """LF and CR LF end a line; blank lines are no frames."""
    assert framer("newline").feed(b'{"a":1}\r\n\n\r\n{"b":2}\n{"c"') == [b'{"a":1}', b'{"b":2}']


def test_a_newline_framer_takes_text_sequences() -> None:
    """RFC 7464, section 2.2: a record separator before each text, a line feed after it."""
    for framing in ("newline", "sequence"):
        wire = b'\x1e{"a":1}\n\x1e{"b":2}\n'
        assert framer(framing).feed(wire) == [b'{"a":1}', b'{"b":2}']
    assert framer("sequence").wrap(b"{}") == b"\x1e{}\n"


def test_a_length_prefix_is_four_bytes_most_significant_first() -> None:
    """A body of 258 bytes is led by 00 00 01 02."""
    body = b"x" * 258
    assert framer("length").wrap(body) == b"\x00\x00\x01\x02" + body
    assert framer("length").feed(b"\x00\x00\x01\x02" + body) == [body]


@given(st.lists(st.integers(0, 10_000), max_size=10), st.integers(11, 60))
def test_an_oversized_frame_is_counted_once_and_its_neighbours_live(
    places: list[int], size: int
) -> None:
    """Only the frame beyond the limit is lost, however its bytes arrive."""
    makers: list[Framer] = [DelimiterFramer(0x17, limit=10), LengthFramer(limit=10)]
    for one in makers:
        data = one.wrap(b"before") + one.wrap(b"x" * size) + one.wrap(b"after")
        got = [frame for piece in cut(data, places) for frame in one.feed(piece)]
        assert [frame for frame in got if not isinstance(frame, CutShort)] == [b"before", b"after"]
        (beginning,) = [frame for frame in got if isinstance(frame, CutShort)]
        assert set(beginning) == {ord("x")}


def test_a_frame_without_an_end_holds_no_memory() -> None:
    """An endless line is thrown away beyond the limit, and what follows its end is read."""
    one = DelimiterFramer(0x0A)
    pieces = [one.feed(b"x" * (MAX_FRAME_BYTES // 20)) for _ in range(40)]
    assert [frame for piece in pieces for frame in piece] == [CutShort(b"x" * CUT_BYTES)]
    assert len(one._held) == 0
    assert one.feed(b"y\nnext\n") == [b"next"]


def test_messages_pass_whole_and_empty_ones_not_at_all() -> None:
    """A WebSocket message is a frame by itself, up to the limit."""
    one = MessageFramer(limit=5)
    assert one.feed(b"12345") == [b"12345"]
    assert one.feed(b"") == []
    (beginning,) = one.feed(b"123456")
    assert beginning == CutShort(b"123456")
    assert isinstance(beginning, CutShort)


def test_a_request_that_holds_the_delimiter_cannot_be_sent() -> None:
    """It would arrive as two frames."""
    with pytest.raises(ValueError, match="ends a frame"):
        DelimiterFramer(ord("}")).wrap(b"{}")


documents = st.lists(
    st.dictionaries(
        st.text(max_size=5), st.text(max_size=8) | st.lists(st.text(max_size=4), max_size=3)
    )
    | st.lists(st.text(max_size=5), max_size=4),
    max_size=6,
)


@given(
    documents,
    st.sampled_from([b"", b" ", b"\n", b"\r\n\t"]),
    st.integers(0, 2),
    st.lists(st.integers(0, 10_000), max_size=20),
)
def test_values_back_to_back_come_out_one_by_one(
    values: list[object], between: bytes, indent: int, places: list[int]
) -> None:
    """Whatever their texts hold, however they are laid out, wherever the stream is cut."""
    data = between.join(json.dumps(value, indent=indent or None).encode() for value in values)
    one = ConcatenatedFramer()
    frames = [frame for piece in cut(data, places) for frame in one.feed(piece)]
    assert [json.loads(frame) for frame in frames] == values


def test_what_stands_between_values_is_a_frame_of_its_own() -> None:
    """It is no JSON, and is told as such."""
    one = ConcatenatedFramer()
    assert one.feed(b'hello{"a":1}, {"b":2}]x{') == [b"hello", b'{"a":1}', b",", b'{"b":2}', b"]x"]
    assert one.feed(b"}") == [b"{}"]


@given(st.integers(30, 90), st.lists(st.integers(0, 10_000), max_size=10))
def test_a_value_beyond_the_limit_is_cut_short_and_the_next_is_read(
    size: int, places: list[int]
) -> None:
    data = b'{"a":"' + b"x" * size + b'"}{"b":1}'
    one = ConcatenatedFramer(limit=20)
    frames = [frame for piece in cut(data, places) for frame in one.feed(piece)]
    whole = [frame for frame in frames if not isinstance(frame, CutShort)]
    assert whole[-1] == b'{"b":1}'
    assert len(one._held) <= 20


def test_a_peer_that_says_no_value_at_all_is_heard() -> None:
    """By the line, or as soon as it is much: another protocol is told, not waited for."""
    assert ConcatenatedFramer().feed(b"SSH-2.0-none\r\n") == [b"SSH-2.0-none"]
    one = ConcatenatedFramer()
    frames = [frame for _ in range(100) for frame in one.feed(b'no "end')]
    assert frames
    assert len(one._held) <= CUT_BYTES
    assert one.feed(b'{"a":1}')[-1] == b'{"a":1}'
