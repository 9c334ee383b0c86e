"""Private strings in texts: found, replaced consistently, and nothing else touched."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recordings.private import Scrubber


def scrubber(**known: list[str]) -> Scrubber:
    return Scrubber(known, public=("nozzle.temperature_c", "nozzle", "localhost"))


@pytest.mark.parametrize(
    ("text", "private"),
    [
        ("connect to ws://10.0.0.7:7950/telemetry failed", "ws://10.0.0.7:7950/telemetry"),
        ("listening on unix:/run/jane/socket", "unix:/run/jane/socket"),
        ("cannot open /home/jane/prints/cat.bin", "/home/jane/prints/cat.bin"),
        ("cannot open ~/prints", "~/prints"),
        (r"cannot open C:\Users\jane\a.bin now", r"C:\Users\jane\a.bin"),
        ("started: grumpy cat (v2).gcode", ".gcode"),
        ("done with jane_vase.stl", "jane_vase.stl"),
        ("mail jane.doe@example.org please", "jane.doe@example.org"),
        ("ssh jane@workshop", "jane@workshop"),
        ("told @jane_doe of it", "jane_doe"),
        ("peer 192.168.1.20 reset", "192.168.1.20"),
        ("peer 192.168.1.20:8080 reset", "192.168.1.20:8080"),
        ("peer fe80::1ff:fe23:4567:890a%eth0 reset", "fe80::1ff:fe23:4567:890a"),
        ("peer 2001:db8::8a2e:370:7334 reset", "2001:db8::8a2e:370:7334"),
        ("card 00:1a:2b:3c:4d:5e is up", "00:1a:2b:3c:4d:5e"),
        ("lost workshop.local for 3 s", "workshop.local"),
        ("lost printer.home.arpa for 3 s", "printer.home.arpa"),
        ("token=abc9def", "abc9def"),
        ('{"api_key": "hunter2"}', "hunter2"),
        ("Authorization: Bearer eyJhbGciOi", "eyJhbGciOi"),
        ("id 123e4567-e89b-12d3-a456-426614174000", "123e4567-e89b-12d3-a456-426614174000"),
        ("session 9f86d081884c7d659a2feaa0c55ad015", "9f86d081884c7d659a2feaa0c55ad015"),
    ],
)
def test_what_is_private_goes(text: str, private: str) -> None:
    """Addresses of RFC 5737, 3849 and 2606 forms, and the like."""
    assert private not in scrubber()(text)


@pytest.mark.parametrize(
    "text",
    [
        "reading of 209.75 °C is beyond 3.5 K/s",
        "open for 0.29 s, then back: a contact opened",
        "nozzle: no heat does that; see 12:30:45 and 0:01:07.5",
        "converter flags over-under-voltage;open on nozzle.temperature_c",
        "speed 80 mm/s and/or 3 wires",
        "code 32767 is at its upper limit (15 bits)",
        "version 1.4.2 of 2026-01-02",
        "half of it: 50%",
        "",
    ],
)
def test_what_a_maintainer_needs_stays(text: str) -> None:
    assert scrubber()(text) == text


def test_the_same_string_gets_the_same_placeholder_in_every_text() -> None:
    scrub = scrubber()
    first = scrub("lost 10.0.0.7, asked 10.0.0.8")
    second = scrub("10.0.0.8 answered")
    assert first == "lost address-1, asked address-2"
    assert second == "address-2 answered"
    assert [(each.placeholder, each.original, each.times) for each in scrub.replaced] == [
        ("address-1", "10.0.0.7", 1),
        ("address-2", "10.0.0.8", 2),
    ]


def test_known_names_go_as_whole_words_in_any_case() -> None:
    scrub = scrubber(user=["jane"], host=["Workshop"])
    assert scrub("Jane at workshop: janeway workshops") == "user-1 at host-1: janeway workshops"


def test_words_of_ours_are_never_private() -> None:
    """A host that is called like a channel does not make every reading unreadable."""
    assert scrubber(host=["nozzle"])("nozzle is open") == "nozzle is open"


def test_a_text_may_not_forge_a_placeholder_by_characters_of_ours() -> None:
    assert "\ue000" not in scrubber()("a \ue000 b 10.0.0.7")


@given(st.text(max_size=200))
def test_scrubbing_twice_changes_nothing_more(text: str) -> None:
    """Placeholders are not taken for private, so a bundle of a bundle reads the same."""
    once = Scrubber({"user": ["jane"]})(text)
    assert Scrubber({"user": ["jane"]})(once) == once


@given(st.text(max_size=100), st.text(max_size=100))
def test_a_known_name_is_never_left_between_spaces(before: str, after: str) -> None:
    found = Scrubber({"user": ["janedoe"]})(f"{before} janedoe {after}")
    assert " janedoe " not in found
