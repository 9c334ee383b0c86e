"""Framing recognised from bytes, however they are cut."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from client.framing import DelimiterFramer, LengthFramer
from client.learn.sniff import Cut, SniffingFramer, recognise
from tests.client.learn.ways import ENDINGS

DOCUMENTS = st.lists(
    st.dictionaries(st.text(max_size=5), st.integers() | st.text(max_size=9), min_size=1),
    min_size=1,
    max_size=5,
)


def cut(wire: bytes, sizes: list[int]) -> list[bytes]:
    pieces = []
    for size in sizes:
        pieces.append(wire[:size])
        wire = wire[size:]
    return [*pieces, wire]


@given(DOCUMENTS, st.sampled_from([0x0A, *ENDINGS]), st.lists(st.integers(1, 40)))
def test_a_delimiter_byte_is_found(documents: list[object], byte: int, sizes: list[int]) -> None:
    """And no frame is lost or cut while it is looked for."""
    framer, frames = DelimiterFramer(byte), [json.dumps(one).encode() for one in documents]
    sniffing = SniffingFramer(Cut("newline"))
    heard = [
        frame
        for piece in cut(b"".join(framer.wrap(frame) for frame in frames), sizes)
        for frame in sniffing.feed(piece)
    ]
    assert heard == frames
    assert sniffing.cut is not None
    assert sniffing.cut.delimiter == byte


@given(DOCUMENTS, st.lists(st.integers(1, 40)))
def test_a_length_prefix_is_found(documents: list[object], sizes: list[int]) -> None:
    """Four bytes before each document."""
    framer, frames = LengthFramer(), [json.dumps(one).encode() for one in documents]
    sniffing = SniffingFramer(Cut("newline"))
    wire = b"".join(framer.wrap(frame) for frame in frames)
    heard = [frame for piece in cut(wire, sizes) for frame in sniffing.feed(piece)]
    assert heard == frames
    assert sniffing.cut is not None
    assert sniffing.cut.framing == "length"


@given(DOCUMENTS, st.lists(st.integers(1, 40)))
def test_a_text_sequence_is_found(documents: list[object], sizes: list[int]) -> None:
    """RFC 7464, section 2.2: a record separator before each document, a line end after it."""
    frames = [json.dumps(one).encode() for one in documents]
    sniffing = SniffingFramer(Cut("newline"))
    wire = b"".join(b"\x1e" + frame + b"\n" for frame in frames)
    assert [frame for piece in cut(wire, sizes) for frame in sniffing.feed(piece)] == frames
    assert sniffing.cut is not None
    assert sniffing.cut.framing == "sequence"


@given(st.binary(max_size=200))
def test_any_bytes_are_looked_at_without_harm(data: bytes) -> None:
    """And nothing is recognised in what holds no document."""
    found = recognise(data)
    assert found is None or found.documents > 0


@pytest.mark.parametrize(("indent", "between"), [(None, b""), (2, b""), (2, b"\n")])
def test_values_back_to_back_are_found(indent: int | None, between: bytes) -> None:
    """With nothing between, or over several lines each."""
    values = [{"temp": 20.0 + n, "set": 0} for n in range(6)]
    data = between.join(json.dumps(value, indent=indent).encode() for value in values)
    sniffing = SniffingFramer(Cut("newline"))
    frames = [frame for at in range(0, len(data), 7) for frame in sniffing.feed(data[at : at + 7])]
    assert sniffing.cut is not None
    assert sniffing.cut.framing == "concatenated"
    assert [json.loads(frame) for frame in frames] == values
