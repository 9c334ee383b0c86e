"""Losses of the link as they are told: what the client said, what came before, what is behind."""

from collections.abc import Sequence

from detectors.engine.watch import Watch
from shared.events import Event
from shared.link import LINK
from shared.updates import Update, Value, batch_of
from shared.words import Kind, Severity

Told = Sequence[tuple[float, str]]
LOST, BACK = 50.0, 90.0


def found(
    told: Told, *, lost_s: float = LOST, back_s: float = BACK, uptime: str = "", state: str = "up"
) -> list[Event]:
    """Events of a host that speaks each half second but while it is gone; "" lost: not at all.

    `uptime` "on" goes on over the gap, "anew" begins again in it.
    """
    updates = []
    for index in range(400):
        time_s = 0.5 * index
        if lost_s <= time_s < back_s:
            continue
        values: dict[str, Value] = {"bed.temperature_c": 20.0 + 0.01 * (index % 3)}
        if uptime:
            anew = uptime == "anew" and time_s >= back_s
            values["controller.uptime_s"] = time_s - back_s + 5.0 if anew else 900.0 + time_s
        if time_s == back_s:
            values["host.state"] = state
        updates.append(Update(time_s, values))
    for time_s, text in told:
        gone: dict[str, Value] = {"host.state": "gone"} if text.startswith("lost") else {}
        updates.append(Update(time_s, {LINK: text, **gone}))
    watch = Watch()
    watch.feed(batch_of(sorted(updates, key=lambda update: update.time_s)))
    watch.finish()
    return [event for event in watch.events if event.channel == "*" and event.absorbed_by is None]


def test_a_loss_is_told_in_the_clients_words_and_what_tries_found() -> None:
    """The finding that decides stays, whatever later tries found."""
    (loss,) = found(
        [
            (LOST, "lost broken: the link broke off"),
            (LOST + 1.0, "tried refused: connection refused"),
            (LOST + 9.0, "tried timed-out: no answer in time"),
        ]
    )
    assert loss.kind is Kind.LINK_LOSS
    assert "the link broke off; then its port refused" in loss.text
    assert (loss.facts["ended"], loss.facts["since"]) == ("broken", "refused")
    assert (loss.start_s, loss.end_s, loss.count) == (LOST, BACK, 1)


def test_a_host_that_ran_on_is_known_by_its_uptime() -> None:
    """Uptime that grew over the gap, and not where it is not told."""
    told = [(LOST, "lost silent: no sign of life for 10 s")]
    assert found(told, uptime="on")[0].facts["ran_on"] == 1.0
    assert found(told)[0].facts["ran_on"] == 0.0


def test_a_restart_behind_a_loss_tells_how_long_the_link_was_down() -> None:
    """It is a notice; the loss says how it went."""
    told = [(LOST, "lost closed: 1012 service restart"), (LOST + 1, "tried refused: refused")]
    for state, uptime in (("up", "anew"), ("starting", ""), ("starting", "anew")):
        loss, restart = found(told, uptime=uptime, state=state)
        assert [loss.kind, restart.kind] == [Kind.LINK_LOSS, Kind.RESTART]
        assert "its link was down for 40 s" in restart.text
        assert "1012 service restart; then its port" in loss.text
        assert restart.severity is Severity.NOTICE


def test_a_silence_that_ends_in_a_loss_is_one_thing() -> None:
    """Ten seconds without a word, then the end: the silence is the beginning of it."""
    told = [(LOST + 8.0, "answers"), (LOST + 12.0, "lost reset: connection reset")]
    silent = [Update(LOST + k, {}) for k in range(1, 12)]
    watch = Watch()
    rows = [Update(0.5 * k, {"bed.temperature_c": 20.0 + 0.01 * (k % 3)}) for k in range(100)]
    tellings = [Update(t, {LINK: text}) for t, text in told[:1]]
    end = Update(told[1][0], {LINK: told[1][1], "host.state": "gone"})
    updates = sorted([*rows, *silent, *tellings, end], key=lambda update: update.time_s)
    watch.feed(batch_of(updates))
    watch.finish()
    (loss,) = [e for e in watch.events if e.channel == "*" and e.absorbed_by is None]
    assert loss.kind is Kind.LINK_LOSS
    assert loss.facts["answers"] == 1.0


def test_what_is_told_after_the_return_counts_no_further_loss() -> None:
    """How many other hosts were lost is known later; it is added to the loss that it is of."""
    (loss,) = found([(LOST, "lost silent: nothing"), (BACK + 6.0, "others 2 of 3")])
    assert loss.count == 1
    assert loss.end_s == BACK
    assert "of 3 other hosts watched here 2 were lost too" in loss.text


def test_messages_dropped_here_are_told_with_the_silence_they_make() -> None:
    """The gap is ours; the host sent all the while."""
    (stale,) = found([(LOST - 0.1, "dropped 80")])
    assert stale.kind is Kind.STALE
    assert stale.facts["dropped"] == 80.0
    assert "80 messages were dropped here, unread" in stale.text


def test_our_own_sleep_is_told_with_the_silence_it_makes() -> None:
    """And long before, it bears on nothing."""
    (stale,) = found([(LOST - 0.1, "late 40.0")])
    assert "this machine itself was held up or asleep for 40 s" in stale.text
    (stale,) = found([(5.0, "late 3.0")])
    assert "this machine" not in stale.text


def test_what_was_held_up_is_told_of_the_silence_just_ended() -> None:
    """It shows only when it comes, all at once."""
    (stale,) = found([(BACK + 0.1, "held-up 40.0")])
    assert "what it had sent came all at once after 40 s" in stale.text
    assert (stale.count, stale.end_s) == (1, BACK)


def test_a_text_that_is_no_telling_changes_nothing() -> None:
    """A log may hold anything under the key."""
    (loss,) = found([(LOST, "lost: oh")])
    assert loss.text.startswith("the link to the host is down")


def test_what_was_held_up_after_a_loss_is_no_part_of_a_silence_before_it() -> None:
    """The silence is over; what is told of the way since is the loss's."""
    spoken = [0.5 * n for n in range(400) if not (20.0 < 0.5 * n < 40.0 or 44.0 <= 0.5 * n < 50.0)]
    rows = [Update(at, {"bed.temperature_c": 20.0 + 0.01 * (at % 3)}) for at in spoken]
    rows.append(Update(44.0, {LINK: "lost closed: bye", "host.state": "gone"}))
    rows.append(Update(50.0, {"host.state": "up"}))

    def silence(*more: Update) -> tuple[str, float | None]:
        watch = Watch()
        watch.feed(batch_of(sorted([*rows, *more], key=lambda update: update.time_s)))
        watch.finish()
        (event,) = [event for event in watch.events if event.kind is Kind.STALE]
        return event.text, event.end_s

    assert silence(Update(51.0, {LINK: "held-up 4.2"})) == silence()
