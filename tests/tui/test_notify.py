"""When messages go out, with a clock that the test moves; and how they are brought."""

import argparse
import re
import sys
import threading
import types
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import BadInput
from shared.events import Event
from shared.words import Kind, Severity
from tests.tui.fakes import event
from tui import deliver
from tui.deliver import Outbox, Way, environment, hook, library, quiet_of, seconds_of, ways_of
from tui.deliver import test_message as send_test
from tui.notify import GROUP_S, Desk, Message, Policy

NOON = 12 * 60
NIGHT = 23 * 60


def failure(number: int, start_s: float = 0.0, **more: object) -> Event:
    return event(number, Kind.CONTACT_BREAK, start_s, None, **more)


def desk(**wishes: object) -> Desk:
    return Desk("garage", Policy(**wishes), 0.0)  # type: ignore[arg-type]


def test_a_burst_is_one_message_that_begins_with_what_came_first() -> None:
    """First-out: the order is that of the log, not that in which detectors noticed."""
    at = desk()
    at.event(failure(2, 50.2, channel="bed"), 100.0)
    at.event(failure(1, 50.1, channel="nozzle"), 103.0)
    assert at.due(100.0 + GROUP_S - 0.1, NOON) == []
    (message,) = at.due(100.0 + GROUP_S, NOON)
    assert message.channel == "nozzle"
    assert message.log_s == 50.1
    assert message.more == 1
    assert message.text.startswith("nozzle: contact-break: ")
    assert message.text.endswith("; then bed contact-break")


def test_a_notice_is_no_news() -> None:
    at = desk()
    at.event(failure(1, severity=Severity.NOTICE), 0.0)
    assert at.due(1e6, NOON) == []


def test_chatter_is_told_once_and_again_only_when_it_grows_worse() -> None:
    """Counting up is no news; a higher severity is."""
    at = desk(every_s=0.0)
    at.event(failure(1, severity=Severity.MAINTENANCE_REQUIRED), 0.0)
    assert len(at.due(20.0, NOON)) == 1
    at.event(failure(1, severity=Severity.MAINTENANCE_REQUIRED, count=50), 30.0)
    assert at.due(60.0, NOON) == []
    at.event(failure(1, severity=Severity.FAILURE, count=51), 70.0)
    (message,) = at.due(90.0, NOON)
    assert message.severity == "failure"


def test_an_event_that_another_explains_before_it_is_told_is_not_told() -> None:
    at = desk()
    at.event(failure(1), 0.0)
    at.event(failure(1, absorbed_by=2), 5.0)
    assert at.due(100.0, NOON) == []


def test_messages_are_no_closer_than_asked() -> None:
    at = desk(every_s=300.0)
    at.event(failure(1), 0.0)
    assert len(at.due(10.0, NOON)) == 1
    at.event(failure(2), 20.0)
    assert at.due(309.9, NOON) == []
    assert len(at.due(310.0, NOON)) == 1


def test_quiet_hours_go_over_midnight() -> None:
    policy = Policy(quiet=quiet_of("22:00-07:00"))
    assert [policy.is_quiet(m) for m in (NIGHT, 0, 6 * 60 + 59, 7 * 60, NOON, 22 * 60)] == [
        True,
        True,
        True,
        False,
        False,
        True,
    ]


def test_news_of_the_night_comes_in_the_morning() -> None:
    at = desk(quiet=quiet_of("22:00-07:00"))
    at.event(failure(1), 0.0)
    assert at.due(3600.0, NIGHT) == []
    assert len(at.due(7200.0, 7 * 60)) == 1


def test_a_failure_passes_quiet_hours_where_it_is_urgent_and_the_rest_waits() -> None:
    at = desk(quiet=quiet_of("22:00-07:00"), urgent=True)
    at.event(failure(1, severity=Severity.MAINTENANCE_REQUIRED), 0.0)
    at.event(failure(2), 1.0)
    (message,) = at.due(60.0, NIGHT)
    assert (message.severity, message.more) == ("failure", 0)
    (late,) = at.due(7200.0, NOON)
    assert late.severity == "maintenance-required"


def test_a_heartbeat_says_that_nothing_was_found_and_counts_from_the_last_message() -> None:
    at = desk(heartbeat_s=6 * 3600.0)
    assert at.due(6 * 3600.0 - 1, NOON) == []
    (beat,) = at.due(6 * 3600.0, NOON)
    assert (beat.reason, beat.text) == ("heartbeat", "still watching, nothing found in 6 h")
    at.event(failure(1), 7 * 3600.0)
    assert [m.reason for m in at.due(7 * 3600.0 + 60, NOON)] == ["event"]
    assert at.due(12 * 3600.0, NOON) == []
    (beat,) = at.due(13 * 3600.0 + 60, NOON)
    assert "1 before" in beat.text


def test_a_heartbeat_does_not_claim_to_watch_a_host_that_is_gone() -> None:
    at = desk(heartbeat_s=60.0)
    (beat,) = at.due(60.0, NOON, is_heard=False)
    assert "link to the host is down" in beat.text


def test_no_heartbeat_says_all_is_well_while_news_waits() -> None:
    at = desk(heartbeat_s=60.0, every_s=1e6)
    at.event(failure(1), 0.0)
    assert len(at.due(10.0, NOON)) == 1
    at.event(failure(2), 20.0)
    assert at.due(500.0, NOON) == []


def test_what_waits_is_told_when_the_watch_ends() -> None:
    at = desk()
    at.event(failure(1), 0.0)
    assert len(at.rest()) == 1
    assert at.rest() == []


@given(st.lists(st.tuples(st.integers(1, 8), st.floats(0.0, 40.0)), max_size=60))
def test_every_event_is_told_exactly_once_whatever_the_times(
    raised: list[tuple[int, float]],
) -> None:
    """Grouping and limits delay; they lose nothing and repeat nothing."""
    at = desk(every_s=30.0)
    now_s = 0.0
    told: list[Message] = []
    for number, wait_s in raised:
        now_s += wait_s
        at.event(failure(number, float(number)), now_s)
        told += at.due(now_s, NOON)
    told += at.due(now_s + 1000.0, NOON)
    assert sum(1 + message.more for message in told) == len({number for number, _ in raised})


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("90", 90.0), ("90s", 90.0), ("20m", 1200.0), ("6h", 21600.0), ("1d", 86400.0)],
)
def test_lengths_of_time_are_read(text: str, seconds: float) -> None:
    assert seconds_of(text, "--heartbeat") == seconds


@pytest.mark.parametrize("text", ["", "6 h", "-1h", "1e9", "six", "٣h"])
def test_what_is_no_length_of_time_is_named(text: str) -> None:
    with pytest.raises(BadInput, match="--heartbeat"):
        seconds_of(text, "--heartbeat")


@pytest.mark.parametrize("text", ["22-7", "24:00-07:00", "22:00-22:00", "22:00–07:00", ""])
def test_what_are_no_hours_is_named(text: str) -> None:
    with pytest.raises(BadInput, match="--quiet-hours"):
        quiet_of(text)


def test_the_environment_names_everything_and_time_is_utc() -> None:
    message = Message("event", "garage", "a\nb", "spike", "nozzle", "failure", 12.5, 2)
    found = environment(message, datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC))
    assert found == {
        "OHMVIGIL_REASON": "event",
        "OHMVIGIL_TITLE": "ohmvigil: garage: failure",
        "OHMVIGIL_TEXT": "a b",
        "OHMVIGIL_HOST": "garage",
        "OHMVIGIL_KIND": "spike",
        "OHMVIGIL_CHANNEL": "nozzle",
        "OHMVIGIL_SEVERITY": "failure",
        "OHMVIGIL_TIME": "2026-01-02T03:04:05Z",
        "OHMVIGIL_LOG_S": "12.500",
        "OHMVIGIL_MORE": "2",
    }


def test_the_docs_name_the_whole_environment() -> None:
    docs = Path(__file__).parents[2] / "docs" / "notifications.md"
    named = set(re.findall(r"`(OHMVIGIL_\w+)`", docs.read_text(encoding="utf-8")))
    message = Message("test", "garage", "words")
    assert named == set(environment(message, datetime(2026, 1, 2, tzinfo=UTC)))


def test_a_hook_runs_without_a_shell_and_sees_the_message(tmp_path: Path) -> None:
    """What a host says reaches the hook as data: no shell reads it."""
    out = tmp_path / "out"
    code = "import os,sys; open(sys.argv[1],'w').write(os.environ['OHMVIGIL_TEXT'])"
    way = hook(f'"{sys.executable}" -c "{code}" {out}')
    hostile = "$(touch x); `id` && rm -rf / | cat"
    assert way(Message("event", "garage", hostile)) == ""
    assert out.read_text() == hostile


def test_a_hook_that_fails_says_why() -> None:
    way = hook(f'"{sys.executable}" -c "import sys; sys.exit(\'no route\')"')
    assert way(Message("test", "garage", "x")) == "the hook ended with 1: no route"


def test_all_that_a_hook_started_ends_with_it_at_its_time_limit(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A grandchild that would outlive it, and hold its error pipe open, is ended as well."""
    monkeypatch.setattr(deliver, "RUN_S", 1.0)
    pid = tmp_path / "pid"
    way = hook(f"sh -c 'sleep 600 & echo $! > {pid}; wait'")
    assert way(Message("test", "garage", "x")) == "the hook took more than 1 s"
    stat = Path(f"/proc/{pid.read_text().strip()}/stat")
    state = stat.read_text().rsplit(")", 1)[1].split()[0] if stat.exists() else "Z"
    assert state in "ZX"


def test_a_hook_that_cannot_be_is_refused_at_once() -> None:
    for command in ("no-such-program-here", "", "'unclosed"):
        with pytest.raises(BadInput, match="--hook"):
            hook(command)


class FakeLibrary(types.ModuleType):
    """Stands in for apprise: remembers what it was given."""

    def __init__(self) -> None:
        super().__init__("apprise")
        sent: list[tuple[str, str]] = []
        self.sent = sent

        class Sender:
            def add(self, url: str) -> bool:
                return not url.startswith("bad")

            def notify(self, title: str, body: str) -> bool:
                sent.append((title, body))
                return body != "refused"

        self.Apprise = Sender


def test_the_library_gets_title_and_text(monkeypatch: pytest.MonkeyPatch) -> None:
    fake = FakeLibrary()
    monkeypatch.setitem(sys.modules, "apprise", fake)
    way = library(["some://where"])
    assert way(Message("test", "garage", "hello")) == ""
    assert fake.sent == [("ohmvigil: garage: test", "hello")]
    assert "could not deliver" in way(Message("test", "garage", "refused"))


def test_an_address_that_the_library_refuses_is_not_printed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It may hold a secret, so it is named by its number."""
    monkeypatch.setitem(sys.modules, "apprise", FakeLibrary())
    with pytest.raises(BadInput) as caught:
        library(["good://a", "bad://secret@b"])
    assert "address 2" in str(caught.value)
    assert "secret" not in str(caught.value)


def test_a_missing_library_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "apprise", None)
    with pytest.raises(BadInput, match=r"ohmvigil\[notify\]"):
        library(["some://where"])


def options(**given: object) -> argparse.Namespace:
    plain: dict[str, object] = {
        "hook": None,
        "notify": [],
        "heartbeat": None,
        "quiet_hours": None,
        "urgent": False,
        "test_notify": False,
    }
    return argparse.Namespace(**(plain | given))


def test_a_file_of_addresses_must_be_private(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "apprise", FakeLibrary())
    path = tmp_path / "addresses"
    path.write_text("# mine\nsome://where\n")
    path.chmod(0o644)
    with pytest.raises(BadInput, match="chmod 600"):
        ways_of(options(notify=[str(path)]))
    path.chmod(0o600)
    assert len(ways_of(options(notify=[str(path)]))) == 1


def test_wishes_without_a_way_are_refused() -> None:
    with pytest.raises(BadInput, match="nowhere to send"):
        ways_of(options(heartbeat="6h"))
    assert ways_of(options()) == []


def test_a_failed_test_message_is_bad_input() -> None:
    with pytest.raises(BadInput, match="--test-notify: no route"):
        send_test("garage", [lambda message: "no route"])


def test_a_message_that_fails_is_tried_again_and_then_complained_of() -> None:
    """Three tries; the outbox goes on with the next message."""
    tries: list[str] = []
    complaints: list[str] = []
    done = threading.Event()

    def way(message: Message) -> str:
        tries.append(message.text)
        if message.text == "second":
            done.set()
            return ""
        return "no route"

    ways: list[Way] = [way]
    outbox = Outbox(ways, complaints.append, retry_s=(0.0, 0.0))
    outbox.put(Message("event", "garage", "first"))
    outbox.put(Message("event", "garage", "second"))
    assert done.wait(20.0)
    outbox.close()
    assert tries == ["first", "first", "first", "second"]
    assert complaints == ["a message could not be sent: no route"]
