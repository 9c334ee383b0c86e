"""Addresses, good and bad."""

import pytest

from client.address import parse_address
from shared.errors import BadInput


@pytest.mark.parametrize(
    ("text", "host", "port", "path", "framing"),
    [
        ("ws://printer.local:8123/feed", "printer.local", 8123, "/feed", "message"),
        ("ws://192.0.2.7", "192.0.2.7", 80, "", "message"),
        ("wss://printer.example/a/b", "printer.example", 443, "/a/b", "message"),
        ("ws://[2001:db8::7]:9000/x", "2001:db8::7", 9000, "/x", "message"),
        ("tcp://[::1]:9000", "::1", 9000, "", "newline"),
        ("unix:/run/host/feed.sock", "", 0, "/run/host/feed.sock", "newline"),
        ("unix:///run/host/feed.sock", "", 0, "/run/host/feed.sock", "newline"),
    ],
)
def test_the_four_forms(text: str, host: str, port: int, path: str, framing: str) -> None:
    """Names, IPv4 and IPv6 (RFC 3986 brackets), with the usual ports of RFC 6455."""
    address = parse_address(text)
    assert (address.host, address.port, address.path) == (host, port, path)
    assert address.framing == framing
    assert parse_address(address.shown) == address


@pytest.mark.parametrize(
    "text",
    [
        "",
        "printer.local",
        "http://printer.local",
        "ws:printer",
        "ws://",
        "ws://:80/x",
        "ws://host:port",
        "ws://host:99999",
        "ws://[::1",
        "ws://host/\x1b[2J",
        "ws://host/a b",
        "ws://host/a#b",
        "tcp://host",
        "tcp://host:1/path",
        "unix:",
        "unix:/run/",
        "ws://" + "x" * 2000,
    ],
)
def test_a_bad_address_is_named_with_what_to_do(text: str) -> None:
    """One line, printable, with the forms that are known or what to leave out."""
    with pytest.raises(BadInput) as caught:
        parse_address(text)
    line = str(caught.value)
    assert line.isprintable()
    assert "give ws://" in line or "leave out" in line


def test_a_secret_in_an_address_is_neither_taken_nor_shown() -> None:
    """User information is refused and hidden; a query is used but not shown."""
    with pytest.raises(BadInput) as caught:
        parse_address("ws://ann:hunter2@host:1/x")
    assert "hunter2" not in str(caught.value)
    address = parse_address("ws://host:1/x?key=hunter2")
    assert address.uri.endswith("?key=hunter2")
    assert "hunter2" not in address.shown
