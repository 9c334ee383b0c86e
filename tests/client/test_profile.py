"""Profiles: loading, names, and errors that say file, line and key."""

import json
from pathlib import Path

import pytest

from client.mapping import Mapper
from client.profile import config_folder, load_profile, saved_names, simulated_profile
from shared.chain import Chain
from shared.errors import BadInput
from shared.updates import Entry, EntryKind

GOOD = """\
format = 1
addresses = ["tcp://192.0.2.7:9000"]
framing = "delimiter"
delimiter = 23

[[requests]]
json = '{"method": "begin", "params": ["all"]}'

[[updates]]
method = "news"
status = "/params/0"
clock = "/params/1"

[channels.nozzle]
base = "/hot end"
temperature_c = { at = "/T", unit = "kelvin" }

[channels.nozzle.chain]
r0_ohm = 1000.0
reference_ohm = 4020.0
"""


@pytest.fixture
def profile_file(tmp_path: Path) -> Path:
    path = tmp_path / "host.toml"
    path.write_text(GOOD)
    return path


def test_a_profile_is_loaded_by_path(profile_file: Path) -> None:
    """With its chain facts by channel."""
    profile = load_profile(profile_file)
    assert profile.addresses == ("tcp://192.0.2.7:9000",)
    told = ("r0_ohm", "reference_ohm")
    assert profile.chains == {"nozzle": Chain(r0_ohm=1000.0, reference_ohm=4020.0, told=told)}


def test_a_profile_is_found_by_its_name_in_the_users_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """XDG base directories: $XDG_CONFIG_HOME, or ~/.config when it is not absolute."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "ohmvigil").mkdir()
    (tmp_path / "ohmvigil" / "attic printer.toml").write_text(GOOD)
    assert saved_names() == ("attic printer",)
    assert load_profile("attic printer").delimiter == 23
    with pytest.raises(BadInput, match="no profile of this name"):
        load_profile("cellar")
    monkeypatch.setenv("XDG_CONFIG_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert config_folder() == tmp_path / ".config" / "ohmvigil"


def test_the_built_in_profile_takes_address_and_chain_facts() -> None:
    """Also for a channel that it does not know."""
    chains = {"nozzle": Chain(bits=16), "spare": Chain()}
    profile = simulated_profile("ws://127.0.0.1:9", chains)
    assert profile.addresses == ("ws://127.0.0.1:9",)
    assert profile.chains == chains
    assert profile.channels["nozzle"].temperature_c == "/nozzle.celsius"


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "hint"),
    [
        ("delimiter = 23", "delimiter = 300", 4, "delimiter", "0 to 255"),
        ("format = 1", "format = 2", 1, "format", ""),
        ("framing =", "framming =", 3, "framming", "framing"),
        ("tcp://192.0.2.7:9000", "http://x", 2, "addresses", "ws://"),
        ('"method": "begin", ', "", 7, "requests[0].json", "method"),
        ('["all"]}', '["all"]', 7, "requests[0].json", "JSON"),
        ("/params/0", "params/0", 11, "updates[0].status", "JSON Pointer"),
        ('/params/0"', '/params/0"\npairs = "yes"', 12, "updates[0].pairs", "bool"),
        ('/params/0"', '/params/0"\npair = true', 12, "updates[0].pair", "pairs"),
        ('method = "news"', 'answer_to = "start"', 10, "updates[0].answer_to", "requests"),
        ("kelvin", "calvin", 16, "channels.nozzle.temperature_c.unit", "kelvin"),
        ("/hot end", "/hot~end", 15, "channels.nozzle.base", "~0"),
        ("r0_ohm = 1000.0", "r0_ohm = -1.0", 19, "channels.nozzle.chain.r0_ohm", "more than 0"),
        ("4020.0", "nan", 20, "channels.nozzle.chain.reference_ohm", "finite"),
        ("r0_ohm", "r0_ohms", 19, "channels.nozzle.chain.r0_ohms", "r0_ohm"),
    ],
)
def test_an_error_names_file_line_and_key(
    profile_file: Path, old: str, new: str, line: int, key: str, hint: str
) -> None:
    """One line that also says what to do."""
    assert old in GOOD
    profile_file.write_text(GOOD.replace(old, new, 1))
    with pytest.raises(BadInput) as caught:
        load_profile(profile_file)
    text = str(caught.value)
    assert text.startswith(f"{profile_file}:{line}: {key}")
    assert hint in text
    assert "\n" not in text


def test_state_words_must_be_ours(profile_file: Path) -> None:
    """A word that no detector knows would be lost in silence."""
    extra = '[channels.host.state]\nat = "/s"\nwords = { idle = "resting" }\n'
    profile_file.write_text(GOOD + extra)
    with pytest.raises(BadInput, match="'resting' is no state of ours; choose starting, up"):
        load_profile(profile_file)


def test_a_missing_file_is_one_line(tmp_path: Path) -> None:
    """No traceback."""
    with pytest.raises(BadInput, match=r"none\.toml"):
        load_profile(tmp_path / "none.toml")


STATE = """\
format = 1
[[updates]]
[channels.host.state]
at = "/s"
words = { ready = "up" }
patterns = { "^err" = "halted", "load" = "starting" }
other = "halted"
[channels.nozzle]
temperature_c = "/n"
"""


@pytest.mark.parametrize(
    ("word", "ours"),
    [("ready", "up"), ("ERR 14: no heat", "halted"), ("loading", "starting"), ("sulks", "halted")],
)
def test_state_words_can_be_told_by_pattern_and_all_others_at_once(
    word: str, ours: str, tmp_path: Path
) -> None:
    """A word first, then the first pattern that fits, then what any other means."""
    path = tmp_path / "host.toml"
    path.write_text(STATE)
    mapper = Mapper(load_profile(path))
    (update,) = mapper.feed(Entry(1.0, EntryKind.MESSAGE, json.dumps({"s": word}).encode()))
    assert update.values["host.state"] == ours


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('"halted", "load"', '"stopped", "load"', "patterns", "no state of ours"),
        ('"^err"', '"(a+)+"', "patterns", "may not be repeated"),
        ('other = "halted"', 'other = "broken"', "other", "broken"),
        ('"/n"', '{ at = "/n", other = "up" }', "temperature_c.other", "state alone"),
        ('temperature_c = "/n"', "", "channels", "there are no channels"),
        ("[[updates]]", '[[messages]]\npattern = "x"\nchannel = "tip"', "channel", "no channel"),
        ("[[updates]]", "largest_bytes = 99", "largest_bytes", "out of range"),
        (
            "[[updates]]",
            'addresses = ["tcp://h:1"]\n[token]\nenv = "T"',
            "token",
            "no header",
        ),
    ],
)
def test_what_a_profile_cannot_mean_is_refused_with_its_key(
    old: str, new: str, key: str, words: str, tmp_path: Path
) -> None:
    """File, line and key, and what to do."""
    path = tmp_path / "host.toml"
    text = STATE.replace(old, new, 1)
    if key == "channels":
        text = text[: text.index("[channels.host")]
    path.write_text(text)
    with pytest.raises(BadInput) as caught:
        load_profile(path)
    assert str(path) in caught.value.where
    assert key in caught.value.where
    assert words in str(caught.value)


def test_files_that_a_profile_names_stand_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Wherever the command is run."""
    path = tmp_path / "host.toml"
    path.write_text(
        STATE.replace(
            "[[updates]]",
            'addresses = ["wss://h"]\nca_file = "ca.pem"\n[token]\nfile = "t"\n[[updates]]',
        )
    )
    monkeypatch.chdir("/")
    profile = load_profile(path)
    assert profile.ca_file == str(tmp_path / "ca.pem")
    assert profile.token is not None
    assert profile.token.file == str(tmp_path / "t")
