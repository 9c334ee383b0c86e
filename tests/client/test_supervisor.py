"""The supervisor on a scripted network and skipped time."""

import asyncio
import itertools
import json
import random
from typing import Any

import msgspec
import pytest

from client.form import KeepAlive, MessageRule, Profile, Request, UpdateSource
from client.profile import simulated_profile
from client.supervisor import LONGEST_WAIT_S, STEADY_S, Supervisor
from client.transport import Closed, Unreachable
from shared.errors import BadInput
from shared.words import HostState
from tests.client.doubles import Diary, ScriptedNetwork, Step, run_skipping

HOST = "ws://192.0.2.7:9000/feed"
SIMULATED = simulated_profile(HOST, {})
HOUR = 3600.0


def watched(
    network: ScriptedNetwork,
    for_s: float,
    profile: Profile = SIMULATED,
    first_must_work: bool = False,
) -> Diary:
    """What a listener is told in `for_s` seconds."""
    diary = Diary()
    supervisor = Supervisor(
        profile,
        diary,
        first_must_work=first_must_work,
        connect=network.connect,
        chance=random.Random(7),
    )

    async def work() -> None:
        try:
            async with asyncio.timeout(for_s):
                await supervisor.run()
        except TimeoutError:
            pass

    run_skipping(work())
    assert network.open_links == 0
    assert network.most_open_links <= 1
    return diary


def answer(**result: Any) -> bytes:
    return json.dumps({"jsonrpc": "2.0", "id": 1, "result": result}).encode()


def steady(gap_s: float, for_s: float) -> list[Step]:
    return [step for _ in range(int(for_s / gap_s)) for step in (gap_s, b"{}")]


def test_a_host_that_accepts_and_closes_is_not_stormed() -> None:
    """A back-off that begins anew with each success made 3,172 connections in 2 s; this one
    makes about two a minute."""
    network = ScriptedNetwork([Closed("bye")])
    diary = watched(network, HOUR)
    assert 2 <= len([t for t, _ in network.attempts if t <= 2.0]) <= 5
    assert HOUR / LONGEST_WAIT_S <= len(network.attempts) <= 2.5 * HOUR / LONGEST_WAIT_S
    assert len(diary.of("lost")) == len(network.attempts)


def test_a_host_that_answers_and_closes_is_not_stormed_either() -> None:
    """A good answer does not make a link steady, nor does a host's word about its pace."""
    network = ScriptedNetwork([answer(every_s=0.3, pace=1), 1.0, Closed("bye")])
    watched(network, HOUR)
    assert len(network.attempts) <= 2.5 * HOUR / LONGEST_WAIT_S


def test_the_wait_begins_anew_after_a_steady_while() -> None:
    """One loss after an hour costs less than a second."""
    network = ScriptedNetwork(
        *[Unreachable("connection refused")] * 6,
        [*steady(1.0, HOUR), Closed("gone")],
        [*steady(1.0, 60.0)],
    )
    diary = watched(network, 2 * HOUR)
    lost_s = next(t for t, what, _ in diary.lines if what == "lost")
    again_s = next(t for t, what, _ in diary.lines if what == "opened" and t > lost_s)
    assert again_s - lost_s < 1.0
    assert HOUR > STEADY_S


def test_waits_double_with_chance_and_are_capped() -> None:
    """Each wait is between half of its nominal length and all of it."""
    network = ScriptedNetwork(Unreachable("connection refused"))
    watched(network, HOUR)
    times = [t for t, _ in network.attempts]
    waits = [b - a for a, b in itertools.pairwise(times)]
    for n, wait_s in enumerate(waits):
        nominal_s = min(0.5 * 2**n, LONGEST_WAIT_S)
        assert nominal_s / 2 <= wait_s <= nominal_s
    assert len({round(wait_s, 6) for wait_s in waits}) == len(waits)


def test_requests_are_sent_again_after_each_connect_with_fresh_ids() -> None:
    """A subscription does not outlive its link."""
    network = ScriptedNetwork([answer(every_s=0.3), 5.0, Closed("bye")])
    watched(network, 60.0)
    assert len(network.links) > 2
    for link in network.links:
        (sent,) = map(json.loads, link.sent)
        assert sent == {
            "jsonrpc": "2.0",
            "id": 1,
            "method": "picture.follow",
            "params": {"client": "ohmvigil"},
        }


def test_a_bare_request_is_sent_as_it_stands() -> None:
    """Without version and id."""
    profile = Profile(
        format=1,
        addresses=(HOST,),
        requests=(Request(json='{"say": ["all", null]}', envelope=False),),
        updates=(UpdateSource(),),
    )
    network = ScriptedNetwork([])
    watched(network, 1.0, profile)
    assert json.loads(network.links[0].sent[0]) == {"say": ["all", None]}


@pytest.mark.parametrize("first", [True, False])
def test_what_no_try_can_help_ends_the_watch_at_once(first: bool) -> None:
    """One attempt, and the line names the address."""
    network = ScriptedNetwork(BadInput(HOST, "the certificate is bad", "check it"))
    with pytest.raises(BadInput, match="certificate"):
        watched(network, HOUR, first_must_work=first)
    assert len(network.attempts) == 1


def test_a_refused_port_ends_the_watch_only_at_the_very_first_attempt() -> None:
    """Later it is a host that restarts."""
    refused = Unreachable("connection refused")
    with pytest.raises(BadInput) as caught:
        watched(ScriptedNetwork(refused), HOUR, first_must_work=True)
    assert str(caught.value).startswith(f"{HOST}: connection refused; ")
    network = ScriptedNetwork([1.0, Closed("bye")], refused)
    diary = watched(network, 60.0, first_must_work=True)
    assert len(network.attempts) > 4
    assert diary.of("trying")[-1][1] == "connection refused"


def test_several_addresses_are_tried_in_order_one_at_a_time() -> None:
    """The second is used when the first does not answer; hopeless ones count only together."""
    other = "tcp://192.0.2.8:9001"
    profile = Profile(format=1, addresses=(HOST, other), updates=(UpdateSource(),))
    bad = BadInput(HOST, "the peer speaks no WebSocket", "check")
    network = ScriptedNetwork(bad, [Closed("x")], bad, Unreachable("refused"), bad, [])
    diary = watched(network, 10.0, profile)
    assert diary.of("opened") == [other, other]
    assert [address.shown for _, address in network.attempts] == [HOST, other] * 3
    with pytest.raises(BadInput, match="no WebSocket"):
        watched(ScriptedNetwork(bad), 10.0, profile)


def test_a_refused_subscription_is_told_with_the_hosts_cleaned_words() -> None:
    """At first it ends the watch; later, as of a host that is still starting, it is tried again."""
    error = {"code": -32000, "message": "not\u001b[2J ready"}
    refusal = json.dumps({"jsonrpc": "2.0", "id": 1, "error": error}).encode()
    with pytest.raises(BadInput) as caught:
        watched(ScriptedNetwork([refusal]), 10.0, first_must_work=True)
    assert str(caught.value) == (
        f"{HOST}: the host refused picture.follow: not[2J ready; if the host is stopped or "
        "starting, try again once it is up, or with --wait; else check [[requests]] in the profile"
    )
    network = ScriptedNetwork(
        [answer(every_s=0.3), Closed("bye")], [refusal], [answer(every_s=0.3)]
    )
    diary = watched(network, 30.0, first_must_work=True)
    assert diary.of("lost") == ["bye", "the host refused picture.follow: not[2J ready"]
    assert len(diary.of("opened")) == 3


@pytest.mark.parametrize("is_polled", [True, False])
def test_a_refusal_that_a_rule_knows_for_a_stop_is_an_answer(is_polled: bool) -> None:
    """The first one too. What is polled is asked on; a subscription is tried until it is taken."""
    error = {"code": -1007, "message": "blocked: a sensor is lost"}
    number = 2 if is_polled else 1
    refusal = json.dumps({"jsonrpc": "2.0", "id": number, "error": error}).encode()
    rule = MessageRule(pattern="^blocked", state=HostState.HALTED)
    base = polling(0.5) if is_polled else SIMULATED
    profile = msgspec.structs.replace(base, messages=(rule,))
    first = [*answers(1, 0.0, 1), refusal] if is_polled else [refusal]
    network = ScriptedNetwork([*first, *steady(1.0, 8.0)], [answer(every_s=0.3)])
    diary = watched(network, 8.0, profile, first_must_work=True)
    assert len(diary.of("opened")) == (1 if is_polled else 2)


def test_a_silent_host_that_still_gives_signs_of_life_is_kept() -> None:
    """Nothing changed, so nothing was sent: that is no loss."""
    diary = watched(ScriptedNetwork([b"{}"]), HOUR)
    assert diary.of("lost") == []


def test_a_host_without_a_sign_of_life_is_lost_after_twice_the_silence() -> None:
    """Five seconds until it is asked, and five to answer."""
    network = ScriptedNetwork([b"{}"], has_probe=False)
    diary = watched(network, 12.0)
    assert [t for t, what, _ in diary.lines if what == "lost"] == [pytest.approx(10.0)]
    assert diary.of("lost") == ["no sign of life for 10 s"]


def test_a_keep_alive_request_is_sent_on_time_and_serves_as_a_question() -> None:
    """Each `every_s`, and once more when the host is silent."""
    alive = KeepAlive(json='{"method": "still there"}', every_s=60.0)
    profile = Profile(format=1, addresses=(HOST,), keep_alive=alive, updates=(UpdateSource(),))
    busy = ScriptedNetwork(steady(1.0, 200.0), has_probe=False)
    watched(busy, 190.0, profile)
    assert [json.loads(frame)["method"] for frame in busy.links[0].sent] == ["still there"] * 3
    quiet = ScriptedNetwork([b"{}", 7.0, b"{}", 7.0, b"{}", 7.0, b"{}"], has_probe=False)
    diary = watched(quiet, 22.0, profile)
    assert diary.of("lost") == []
    assert len(quiet.links[0].sent) == 3


def test_a_simulated_hosts_pace_shortens_silence_down_to_a_floor() -> None:
    """At pace 60 five seconds are 83 ms, but 1.5 s of own time must pass before it is asked."""
    network = ScriptedNetwork([answer(every_s=0.3, pace=60.0)], has_probe=False)
    diary = watched(network, 3.05)
    assert [t for t, what, _ in diary.lines if what == "lost"] == [pytest.approx(3.0)]


def test_every_frame_is_passed_on_in_order_garbage_included() -> None:
    """The recorder comes before anything can fail."""
    frames: list[Step] = [b"\xff\x00", b"[" * 5000, answer(every_s=0.3), b'{"id":1,"error":7}']
    network = ScriptedNetwork(frames)
    assert watched(network, 1.0).of("message") == frames


def test_a_profile_without_an_address_is_refused() -> None:
    """Before anything is started."""
    with pytest.raises(BadInput, match="has no address"):
        Supervisor(Profile(format=1), Diary())


def test_when_we_end_it_the_link_is_closed_and_not_called_lost() -> None:
    """A recording that is stopped does not end with a fault."""
    network = ScriptedNetwork(steady(1.0, HOUR))
    diary = watched(network, 10.0)
    assert diary.of("lost") == []
    assert not network.links[0].is_open


def test_a_request_of_the_host_is_answered_with_method_not_found() -> None:
    """JSON-RPC 2.0, 5.1: code −32601 with the request's id, so that the host need not wait."""
    call = b'{"jsonrpc": "2.0", "id": "a7", "method": "are you there"}'
    network = ScriptedNetwork([answer(moment=0, status={}), call, *steady(1.0, 10.0)])
    watched(network, 5.0)
    _, refusal = map(json.loads, network.links[0].sent)
    assert refusal["jsonrpc"] == "2.0"
    assert refusal["id"] == "a7"
    assert refusal["error"]["code"] == -32601
    assert "result" not in refusal


@pytest.mark.parametrize(
    "frame",
    [
        b'{"jsonrpc": "2.0", "method": "news", "params": {"id": 3}}',
        b'{"id": 3, "method": "news"}',
        b'{"jsonrpc": "2.0", "id": 99999999999999999999999, "method": "x"}',
        b'{"jsonrpc": "2.0", "id": {"a": 1}, "method": "x"}',
        b'{"jsonrpc": "2.0", "id": null, "method": "x"}',
    ],
)
def test_nothing_else_is_answered(frame: bytes) -> None:
    """Notifications, messages without the envelope's mark, and ids that cannot be given back."""
    network = ScriptedNetwork([answer(moment=0, status={}), frame, *steady(1.0, 10.0)])
    watched(network, 5.0)
    assert len(network.links[0].sent) == 1


def test_a_flood_of_requests_is_answered_in_part_and_harms_nothing() -> None:
    """All frames are passed on; answers that wait are bounded, so not every request gets one."""
    calls = [b'{"jsonrpc": "2.0", "id": %d, "method": "x"}' % n for n in range(5000)]
    network = ScriptedNetwork([answer(moment=0, status={}), *calls, *steady(1.0, 10.0)])
    diary = watched(network, 5.0)
    assert len(diary.of("message")) >= 5001
    assert 1 < len(network.links[0].sent) < 2500


def test_addresses_of_one_host_are_tried_in_order_and_one_is_open_at_a_time() -> None:
    """The first refuses, the second opens; after a loss the first is tried first again."""
    profile = Profile(format=1, addresses=("tcp://[2001:db8::7]:9", "unix:/run/relay"))
    network = ScriptedNetwork(
        Unreachable("refused"), [1.0, Closed("lost")], Unreachable("refused"), steady(1.0, 100.0)
    )
    diary = watched(network, 10.0, profile)
    order = [address.shown for _, address in network.attempts]
    assert order == ["tcp://[2001:db8::7]:9", "unix:/run/relay"] * 2
    assert diary.of("opened") == ["unix:/run/relay"] * 2


def polling(every_s: float, envelope: bool = True, **more: Any) -> Profile:
    text = '{"method": "temps"}' if envelope else '{"cmd": "temps"}'
    return Profile(
        format=1,
        addresses=(HOST,),
        requests=(
            Request(json='{"method": "hello"}'),
            Request(json=text, envelope=envelope, every_s=every_s),
        ),
        updates=(UpdateSource(answer_to="temps" if envelope else ""),),
        **more,
    )


def answers(number: int, at_s: float, count: int) -> list[Step]:
    result = json.dumps({"jsonrpc": "2.0", "id": number, "result": {"t": 20.5}}).encode()
    return [step for _ in range(count) for step in (at_s, result)]


def test_a_repeated_request_keeps_its_id_and_its_beat() -> None:
    """So that one entry of the profile reads every answer; the greeting is said once."""
    beat = [*answers(2, 0.1, 1), *answers(2, 0.5, 100)]
    network = ScriptedNetwork([*answers(1, 0.0, 1), *beat])
    watched(network, 10.2, polling(0.5))
    (link,) = network.links
    sent = [json.loads(frame) for frame in link.sent]
    assert [one["id"] for one in sent] == [1] + [2] * 21
    assert {one["method"] for one in sent[1:]} == {"temps"}


def test_a_host_that_does_not_answer_is_not_asked_in_vain() -> None:
    """Not before the last answer has come, or the allowed silence is over."""
    news: list[Step] = [step for _ in range(100) for step in (0.2, b'{"news": 1}')]
    network = ScriptedNetwork([*answers(1, 0.0, 1), *news])
    watched(network, 19.0, polling(0.5, silence_s=5.0))
    (link,) = network.links
    assert len([one for one in map(json.loads, link.sent) if one["id"] == 2]) == 4


def test_a_repeated_bare_request_is_sent_at_each_beat() -> None:
    """Nobody can tell which answer is to which."""
    news: list[Step] = [step for _ in range(100) for step in (0.2, b'{"news": 1}')]
    network = ScriptedNetwork([*answers(1, 0.0, 1), *news])
    watched(network, 10.2, polling(1.0, envelope=False))
    assert len([frame for frame in network.links[0].sent if b"cmd" in frame]) == 11


def test_a_slow_beat_is_not_taken_for_silence() -> None:
    """Asked every minute, the host is silent for a minute, and the link is whole."""
    network = ScriptedNetwork([*answers(1, 0.0, 1), *answers(2, 60.0, 100)])
    diary = watched(network, HOUR, polling(60.0, silence_s=5.0))
    assert diary.of("lost") == []


def test_a_refusal_later_on_ends_nothing() -> None:
    """A host that is busy now and then says so; the next answer is as good as any."""
    error = {"jsonrpc": "2.0", "id": 2, "error": {"code": 1, "message": "busy"}}
    busy = json.dumps(error).encode()
    network = ScriptedNetwork([*answers(1, 0.0, 1), *answers(2, 0.5, 2), 0.5, busy, 0.5, busy])
    diary = watched(network, 6.0, polling(0.5))
    assert diary.of("lost") == []


def test_a_refusal_of_the_first_is_told() -> None:
    """The request is not as the host wants it."""
    error = {"jsonrpc": "2.0", "id": 2, "error": {"code": 1, "message": "what?"}}
    network = ScriptedNetwork([json.dumps(error).encode()])
    with pytest.raises(BadInput, match="refused temps: what"):
        watched(network, HOUR, polling(0.5), first_must_work=True)


def test_the_next_attempt_comes_when_it_was_said_to() -> None:
    """What a screen counts down to is what happens."""
    diary = watched(ScriptedNetwork(Unreachable("no route"), Unreachable("no route"), []), 30.0)
    told = [(t + each[2], each[0] + 1) for t, what, each in diary.lines if what == "waiting"]
    begun = [(t, each[0]) for t, what, each in diary.lines if what == "trying"]
    assert len(told) >= 2
    for (said_s, said), (at_s, number) in zip(told, begun[1:], strict=False):
        assert at_s == pytest.approx(said_s)
        assert number == said
