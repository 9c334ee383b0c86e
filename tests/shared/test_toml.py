"""TOML files into structs: the errors name file, line and key."""

from pathlib import Path
from typing import Literal

import msgspec
import pytest

from shared import toml
from shared.errors import BadInput
from shared.words import Kind


class Rule(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    window_s: float
    kind: Kind = Kind.SPIKE


class Link(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    wires: Literal[2, 3, 4] = 2
    length_m: float = 1.0
    note: str = ""


class Step(msgspec.Struct, forbid_unknown_fields=True, tag_field="kind", tag="step"):
    height: float


class Ramp(msgspec.Struct, forbid_unknown_fields=True, tag_field="kind", tag="ramp"):
    slope: float
    side: Literal["left", "right"] = "left"


class House(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    title: str
    links: dict[str, Link] = {}
    rules: tuple[Rule, ...] = ()
    numbers: tuple[float, ...] = ()
    nested: dict[str, dict[str, Link]] = {}
    shapes: tuple[Step | Ramp, ...] = ()


def refusal(text: str) -> str:
    with pytest.raises(BadInput) as caught:
        toml.loads(text, House, "house.toml")
    return str(caught.value)


def test_a_good_file_becomes_a_struct(tmp_path: Path) -> None:
    """A file with tables and arrays of tables becomes the struct it describes."""
    path = tmp_path / "house.toml"
    path.write_text('title = "t"\n[links.a]\nwires = 3\n[[rules]]\nwindow_s = 2\nkind = "step"\n')
    house = toml.load(path, House)
    assert house == House("t", {"a": Link(3)}, (Rule(2.0, Kind.STEP),))


def test_an_unknown_key_names_its_line_and_the_nearest_known_one() -> None:
    """A misspelt key in the second array entry is found on its own line."""
    text = 'title = "t"\n\n[[rules]]\nwindow_s = 1\n# a remark\n[[rules]]\nwindow_s = 1\nkimd = 2\n'
    expected = "house.toml:8: rules[1].kimd: unknown key; did you mean 'kind'?"
    assert refusal(text) == expected


def test_a_key_in_a_table_of_tables_is_named_whole() -> None:
    """msgspec does not say which entry of a dict is wrong; the error does."""
    text = 'title = "t"\n[links.a]\nwires = 3\n[links.b]\nwirs = 3\n'
    assert refusal(text) == "house.toml:5: links.b.wirs: unknown key; did you mean 'wires'?"
    text = 'title = "t"\n[nested.x.good]\n[nested.y.good]\n[nested.y.bad]\nlength_m = "long"\n'
    assert refusal(text).startswith("house.toml:5: nested.y.bad.length_m: expected 'float'")


def test_a_value_outside_the_choices_lists_them() -> None:
    """A number or a word that is not among the choices is answered by the choices."""
    text = 'title = "t"\n[links.a]\nwires = 5\n'
    assert refusal(text) == "house.toml:3: links.a.wires: '5' is not allowed; known: 2, 3, 4"
    text = 'title = "t"\n[[rules]]\nwindow_s = 1\nkind = "spikes"\n'
    assert refusal(text).endswith("did you mean 'spike'?")


def test_a_missing_key_is_named_at_its_table() -> None:
    """What is missing has no line; its table has."""
    text = 'title = "t"\n[[rules]]\nkind = "step"\n'
    assert refusal(text) == "house.toml:2: rules[0]: key 'window_s' is missing; add it"
    assert refusal("") == "house.toml:1: key 'title' is missing; add it"


@pytest.mark.parametrize("word", ["nan", "+inf", "-inf"])
def test_numbers_must_be_finite(word: str) -> None:
    """TOML allows nan and inf; physics does not."""
    message = refusal(f'title = "t"\n[links."a b"]\nlength_m = {word}\n')
    assert message.startswith("house.toml:3: links.a b.length_m:")
    assert "finite" in message
    message = refusal(f'title = "t"\nnumbers = [\n 1.0,\n {word},\n]\n')
    assert message.startswith("house.toml:2: numbers[1]:")


def test_brackets_and_signs_inside_strings_and_arrays_are_no_keys() -> None:
    """Lines of a string or an array that look like tables or keys are passed over."""
    text = (
        'title = """\n[links.fake]\nwirs = 1\n"""\nnumbers = [ # [[rules]]\n1,\n]\n'
        '[links.a]\nnote = "# ] \\" ["\nwirs = 2\n'
    )
    assert refusal(text).startswith("house.toml:10: links.a.wirs: unknown key")


def test_broken_toml_names_the_line() -> None:
    """A syntax error is one line with the line's number."""
    message = refusal('title = "t"\nnumbers = [1,,2]\n')
    assert message.startswith("house.toml:2: ")
    assert "\n" not in message
    assert refusal('title = "t"\nnumbers = [').startswith("house.toml:2: ")


def test_unreadable_files_are_bad_input(tmp_path: Path) -> None:
    """Missing, a folder, no text, too large: one line each."""
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"title = 1\n\xff\xfe")
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * (toml.MAX_BYTES + 1))
    for path, word in (
        (tmp_path / "none.toml", "no such file"),
        (tmp_path, "folder"),
        (binary, "UTF-8"),
        (large, "1 MiB"),
    ):
        with pytest.raises(BadInput, match=word) as caught:
            toml.load(path, House)
        assert str(caught.value).startswith(str(path))
    with pytest.raises(BadInput, match=r"binary\.toml:2: "):
        toml.load(binary, House)


def test_a_later_check_can_name_a_place(tmp_path: Path) -> None:
    """`place` finds the line of a value, or of its nearest parent."""
    path = tmp_path / "house.toml"
    path.write_text('title = "t"\n[links.a]\nwires = 3\nlong = { way = 1 }\n')
    assert toml.place(path, ("links", "a", "wires")) == f"{path}:3: links.a.wires"
    assert toml.place(path, ("links", "a", "long", "way")) == f"{path}:4: links.a.long.way"
    assert toml.place(path, ("links", "a", "none")) == f"{path}:2: links.a.none"


def test_the_tag_of_an_entry_chooses_what_it_may_hold() -> None:
    """Where a tag tells entries apart, advice is for that kind of entry."""
    head = 'title = "t"\n[[shapes]]\nkind = "step"\nheight = 1\n[[shapes]]\nkind = "ramp"\n'
    assert refusal(head + "slop = 1\n").endswith("unknown key; did you mean 'slope'?")
    message = refusal(head + 'slope = 1\nside = "lift"\n')
    assert message == "house.toml:8: shapes[1].side: 'lift' is not allowed; did you mean 'left'?"
    message = refusal(head.replace('"ramp"', '"rimp"'))
    assert message == "house.toml:6: shapes[1].kind: 'rimp' is not allowed; did you mean 'ramp'?"
    assert "key 'kind' is missing" in refusal('title = "t"\n[[shapes]]\nslope = 1\n')


@pytest.mark.parametrize("number", ["9" * 5000, "-" + "1" * 4301, "1_" * 4400 + "1"])
def test_a_number_of_thousands_of_digits_is_named_by_its_line(number: str) -> None:
    """Python itself refuses it, and not as TOML that is wrong."""
    with pytest.raises(BadInput, match=r"p\.toml:2.*too long"):
        toml.loads(f"a = 1\nb = {number}\n", dict, "p.toml")
