"""Our walk against RFC 6901's own examples and against the `jsonpointer` library."""

from typing import Any

import jsonpointer
import pytest
from hypothesis import given
from hypothesis import strategies as st

from client.pointer import MISSING, split, walk

RFC_DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}
"""RFC 6901, section 5 (published)."""

names = st.text(alphabet="ab/~01 -", max_size=3)
# No strings as values: the oracle indexes into them, which RFC 6901 does not know.
documents: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=4),
    max_leaves=20,
)


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", RFC_DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_examples_of_the_standard(pointer: str, value: Any) -> None:
    """RFC 6901, section 5 (published)."""
    assert walk(RFC_DOCUMENT, split(pointer)) == value


@given(documents, st.lists(names | st.sampled_from(["0", "1", "2", "01", "-"]), max_size=4))
def test_a_walk_agrees_with_the_reference_library(document: Any, parts: list[str]) -> None:
    """Same value, or missing in both."""
    oracle = jsonpointer.JsonPointer.from_parts(parts)
    expected = oracle.resolve(document, MISSING)
    if isinstance(expected, jsonpointer.EndOfList):
        expected = MISSING  # "-" names the item after the last, which nobody has sent.
    found = walk(document, split(oracle.path))
    assert found is expected or (found == expected and type(found) is type(expected))


@given(documents)
def test_every_leaf_is_reached(document: Any) -> None:
    """Each place in a document is found by its own pointer."""

    def check(node: Any, parts: list[str]) -> None:
        assert walk(document, split(jsonpointer.JsonPointer.from_parts(parts).path)) is node
        if isinstance(node, dict):
            for name, child in node.items():
                check(child, [*parts, name])
        elif isinstance(node, list):
            for index, child in enumerate(node):
                check(child, [*parts, str(index)])

    check(document, [])


@pytest.mark.parametrize("text", ["a", "a/b", "/a~", "/a~2b", "/~", "#/a", "/a" * 33])
def test_what_is_no_pointer_is_refused(text: str) -> None:
    """A pointer begins with a slash, and a tilde is followed by 0 or 1."""
    with pytest.raises(ValueError, match="JSON Pointer"):
        split(text)


@given(st.text(alphabet="/~01a", max_size=8))
def test_the_same_texts_are_pointers_for_the_reference_library(text: str) -> None:
    """What one refuses the other refuses as well."""
    try:
        jsonpointer.JsonPointer(text)
    except jsonpointer.JsonPointerException:
        with pytest.raises(ValueError, match="JSON Pointer"):
            split(text)
    else:
        split(text)
