"""Private strings in texts: found, replaced consistently, and nothing else touched."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recordings.private import Scrubber
from tui.commands.bundle import ANYONES


def scrubber(**known: list[str]) -> Scrubber:
    return Scrubber(known, public=("nozzle.temperature_c", "nozzle", "localhost"))


@pytest.mark.parametrize(
    ("text", "private"),
    [
        ("connect to ws://10.0.0.7:7950/picture failed", "ws://10.0.0.7:7950/picture"),
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
    ("text", "private"),
    [
        ("Wi-Fi lost network 'Hidden Valley 5G'", "Hidden Valley"),
        ("wlan0: SSID MyHomeNet lost", "MyHomeNet"),
        ('ssid="Casa de Jane" key_mgmt=WPA', "Casa"),
        ("connected to ssid: FamilyNet24", "FamilyNet24"),
        ('ESSID:"Blue Door"', "Blue Door"),
        ("wifi network Rosebud is gone", "Rosebud"),
        ("printing cube_v2.3mf", "cube_v2"),
        ("took up benchtest~1.gco (12345 bytes)", "benchtest~1"),
        ("print 'My Secret Part.gcode' started", "Secret"),
        ("print My Secret Part.gcode started", "Secret"),
        ('job "christmas gift for bob" paused', "christmas"),
        ("job: vase spiral started", "vase"),
        ("filename=present_for_anna", "present_for_anna"),
        ("loaded present for anna.GCODE", "anna"),
        ("user=alice logged in", "alice"),
        ("login alice from 10.1.2.3", "alice"),
        ("user alice logged in", "alice"),
        ("user: alice", "alice"),
        ("hostname: workbench", "workbench"),
        ("host=workbench down", "workbench"),
        ("hostname workbench changed", "workbench"),
        ("password hunter2", "hunter2"),
        ("password is hunter2", "hunter2"),
        ("psk=correcthorse", "correcthorse"),
        ("passphrase: correct horse battery", "correct"),
        ("Api-Key: A1B2C3D4", "A1B2C3D4"),
        ("Cookie: session=deadbeef", "deadbeef"),
        ("set-cookie sid=f00dbabe; path=/", "f00dbabe"),
        ("eyJhbGciOiJIUzI1NiJ9.eyJzdWIiOiIxIn0.abcDEF123", "eyJhbGci"),
        ("[2001:db8::1]:9000 refused", "2001:db8::1"),
        ("peer ::ffff:192.0.2.44 refused", "192.0.2.44"),
        ("peer 2001:DB8:0:0:8:800:200C:417A", "800:200C"),
        ("mac 00-1A-2B-3C-4D-5E", "1A-2B"),
        ("mac 001a.2b3c.4d5e", "001a.2b3c"),
        ("mac 001A2B3C4D5E", "001A2B3C4D5E"),
        ("board usb-attic_7f31c2d0-if00 is there", "7f31c2d0"),
        ("serial 7&1c40e2b9&3&1", "1c40e2b9"),
        ("serial number: 0x7A11C0FFEE42", "7A11C0FFEE42"),
        ("can't open file /media/usb0/Jane's parts/lid.gcode", "lid"),
        ("can't open '/media/usb0/Secret Parts/lid.gcode'", "Secret"),
        ("can't open /media/usb0/Secret Parts/lid.gcode", "Parts/"),
        ("file:///home/bob/x", "bob"),
        ("\\\\nas\\prints\\bob.gcode", "nas"),
        ("C:/Users/bob/prints", "bob"),
        ("mailto:bob@example.com", "bob"),
        ("bob@192.0.2.3", "bob"),
        ("sip:+49 151 23456789", "23456789"),
        ("call +49 151 23456789", "23456789"),
        ("phone 0151-2345678", "2345678"),
        ("at 52.5200, 13.4050", "52.5200"),
        ("printer.attic.box is gone", "attic"),
        ("printer.example.museum is gone", "museum"),
        ("lost garage-pi", "garage-pi"),
        ("lost GARAGE-PI.", "GARAGE-PI"),
        ("lost garage-pi_2", "garage-pi"),
        ("/dev/serial/by-id/usb-attic_90C4E1770B5D", "90C4E1770B5D"),
        ("GET /status?apikey=topsecret1 HTTP/1.1", "topsecret1"),
        ("https://user:pw@host.example/x", "pw@"),
        ("10.0.0.0/24 unreachable", "10.0.0.0"),
        ("uuid {123E4567-E89B-12D3-A456-426614174000}", "123E4567"),
        ("ssh-rsa AAAAB3NzaC1yc2EAAAADAQABAAABAQ jane@pi", "AAAAB3Nza"),
        ("secret key: abc", "abc"),
        ("bearer abcdef", "abcdef"),
        ("token abcdef12", "abcdef12"),
        ("http-basic YWxhZGRpbjpvcGVuc2VzYW1l", "YWxhZGRpbj"),
        ("netbios WORKGROUP\\bob", "bob"),
        ("résumé für Jürgen.gcode", "Jürgen"),
        ("192.168.1.20", "192"),
        ("ip-192-168-1-20 is down", "192-168"),
    ],
)
def test_a_hostile_hunt_finds_no_leak(text: str, private: str) -> None:
    """Names of networks, people, machines, files and numbers as hosts and programs write them."""
    scrub = Scrubber({"user": ["jane"], "host": ["garage-pi", "garage-pi.local"]})
    assert private not in scrub(text)


@pytest.mark.parametrize(
    "text",
    [
        "nozzle: no heat does that; see 12:30:45 and 0:01:07.5",
        "stopped: nozzle implausible",
        "nozzle stays colder than its power says",
        "too little heat: 12.5 of 20.0 K",
        "user stopped the print",
        "host is starting",
        "network is down",
        "password required",
        "token expired",
        "file not found",
        "job cancelled",
        "job paused by user",
        "user interaction needed",
        "serial link lost, trying again",
        "pin 12 is high",
        "host restarted after 12 s",
        "login failed",
        "print 50 % done",
        "code 9731 of 65535, 2.9 V",
        "board at 35.2 V",
        "layer 12/240",
        "key pressed",
        "wifi signal weak",
        "network unreachable: no route",
        "user request",
        "session ended",
        "file closed after 12 s",
        "input-out-of-range",
        "hostname changed",
        "job done in 3 h 20 min",
        'no such order "W7"',
        "status sensors.nozzle.reading is missing",
        "reading of 209.75 °C is beyond 3.5 K/s",
        "open for 0.29 s, then back: a contact opened",
        "converter flags input-out-of-range;open on nozzle.temperature_c",
        "speed 80 mm/s and/or 3 wires",
        "code 65535 is at its upper limit (16 bits)",
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


@pytest.mark.parametrize("text", ["the root of the lead", "it broke in the night", "see the log"])
def test_names_that_are_anyones_leave_a_text_its_words(text: str) -> None:
    """An account called root, a file called night: replacing them hides nothing."""
    known = {"user": ["root"], "path": ["night"], "host": ["log"]}
    assert Scrubber(known, ANYONES).names(text) == text
    private = Scrubber({"user": ["gwendolen"]}, ANYONES)
    assert "gwendolen" not in private.names("the lead of gwendolen")
