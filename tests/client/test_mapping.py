"""From entries to updates, for our simulated host and for hosts with other habits."""

import json
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from client.form import Channel, Item, MessageRule, Profile, Reading, Request, UpdateSource
from client.learn.tree import escaped
from client.mapping import Mapper
from client.profile import simulated_profile
from shared.absent import absent_key
from shared.unreadable import UNREADABLE
from shared.updates import Entry, EntryKind, LinkNews, Update, Value
from shared.words import HostState, Kind
from tests.levels import first

SIMULATED = simulated_profile("ws://127.0.0.1:9", {})
OWN = 7000.0


def message(body: Any, own_s: float = OWN) -> Entry:
    payload = body if isinstance(body, bytes) else json.dumps(body).encode()
    return Entry(own_s, EntryKind.MESSAGE, payload)


def link(up: bool, own_s: float = OWN, why: str = "") -> Entry:
    return Entry(own_s, EntryKind.LINK, msgspec.json.encode(LinkNews(up, why)))


def tick(own_s: float) -> Entry:
    return Entry(own_s, EntryKind.TICK)


def whole(lines: Any, clock_ms: Any = 12250) -> dict[str, Any]:
    """The first message of a connection to the simulated host."""
    return told(lines, clock_ms, no=1)


def told(lines: Any, clock_ms: Any, no: int = 2) -> dict[str, Any]:
    params = {"no": no, "clock_ms": clock_ms, "lines": lines}
    return {"jsonrpc": "2.0", "method": "picture.lines", "params": params}


def acknowledged(pace: Any = 1.0) -> dict[str, Any]:
    return {"jsonrpc": "2.0", "id": 1, "result": {"every_s": 0.3, "pace": pace}}


def bare(channels: dict[str, Channel], **more: Any) -> Profile:
    """A host that sends bare JSON without a clock."""
    return Profile(format=1, updates=(UpdateSource(),), channels=channels, **more)


def values(profile: Profile, body: Any) -> dict[str, Any]:
    (update,) = Mapper(profile).feed(message(body))
    return update.values


def test_the_documented_picture_is_mapped_whole() -> None:
    """Every path of the simulated host's protocol, by the names of a plain log."""
    lines = [
        ["host.stands", "serving"],
        ["host.because", "warming up"],
        ["controller.awake_s", 12.3],
        ["nozzle.celsius", 209.8],
        ["nozzle.wanted", 210.0],
        ["nozzle.duty", 0.41],
        ["nozzle.code", 13681],
        ["nozzle.ohm", 179.53],
        ["nozzle.flags", ["input-out-of-range", "open"]],
        ["bed.celsius", 60.0],
        ["bed.wanted", 60.0],
        ["bed.duty", 0.2],
        ["bed.flags", []],
        ["chamber.celsius", 31.0],
        ["board.celsius", 40.0],
        ["where.x", 1.0],
        ["where.y", 2.0],
        ["where.z", 3.0],
        ["where.speed", 80.0],
        ["fan.part", 0.4],
    ]
    mapper = Mapper(SIMULATED)
    assert mapper.feed(link(True)) == []
    assert mapper.feed(message(acknowledged())) == []
    assert mapper.feed(message(whole(lines))) == [
        Update(
            12.25,
            {
                "nozzle.temperature_c": 209.8,
                "nozzle.target_c": 210.0,
                "nozzle.power": 0.41,
                "nozzle.code": 13681.0,
                "nozzle.resistance_ohm": 179.53,
                "nozzle.flags": "input-out-of-range;open",
                "bed.temperature_c": 60.0,
                "bed.target_c": 60.0,
                "bed.power": 0.2,
                "bed.flags": "none",
                "chamber.temperature_c": 31.0,
                "board.temperature_c": 40.0,
                "motion.x_mm": 1.0,
                "motion.y_mm": 2.0,
                "motion.z_mm": 3.0,
                "motion.speed_mm_s": 80.0,
                "fan.speed": 0.4,
                "controller.uptime_s": 12.3,
                "host.message": "warming up",
                "host.state": "up",
            },
        )
    ]
    assert not mapper.refused


def test_only_what_the_host_sent_is_in_an_update() -> None:
    """Changed values, repeated values, and nothing at all."""
    mapper = Mapper(SIMULATED)
    mapper.feed(message(whole([["fan.part", 0.4]])))
    for lines, expected in [
        ([["bed.celsius", 61.0]], {"bed.temperature_c": 61.0}),
        ([["bed.celsius", 61.0]], {"bed.temperature_c": 61.0}),
        ([], {}),
        ([["fan.part", None], ["where.east", 3]], {"fan.no_speed": "null"}),
    ]:
        (update,) = mapper.feed(message(told(lines, 13000)))
        assert update.values == expected
    assert not mapper.refused


@pytest.mark.parametrize("bad", [True, "210", [210], {"c": 210}, 1e300, -(10**40)])
def test_what_is_no_number_is_counted_and_left_out(bad: Any) -> None:
    """A bool is not a number, and one beyond all sense is not a reading."""
    mapper = Mapper(SIMULATED)
    mapper.feed(message(whole([["bed.celsius", bad], ["bed.duty", 1]])))
    assert mapper.refused == {"bed.temperature_c": 1}


@pytest.mark.parametrize("frame", [b"", b"\xff\xfe", b'{"a":NaN}', b"[" * 9000, b'{"a":1e999}'])
def test_a_frame_that_is_not_json_is_counted(frame: bytes) -> None:
    """It gives no update and does no harm."""
    mapper = Mapper(SIMULATED)
    assert mapper.feed(message(frame)) == []
    assert mapper.refused.total() == 1


def test_hostile_text_is_cleaned_at_this_edge() -> None:
    """Escape sequences, bidirectional overrides and endless text never get further."""
    evil = "\x1b]52;c;ZXZpbA==\x07[red]\u202eabc\u2028" + "x" * 5000
    lines = [["host.because", evil], ["host.stands", evil], ["bed.flags", [evil, "a;b"]]]
    mapper = Mapper(SIMULATED)
    (update,) = mapper.feed(message(whole(lines)))
    assert set(update.values) == {"host.message", "host.state", "bed.flags"}
    for text in update.values.values():
        assert isinstance(text, str)
        assert text.isprintable()
        assert len(text) <= 200
    assert str(update.values["bed.flags"]).endswith(";a b")
    assert not mapper.refused


def test_a_lost_link_is_a_state_and_the_state_comes_back_with_the_readings() -> None:
    """Gone at the loss; as last known when the host, sending only changes, does not repeat it."""
    mapper = Mapper(SIMULATED)
    mapper.feed(message(whole([["host.stands", "coming-up"]], 10000)))
    assert mapper.feed(link(False, OWN + 2)) == [Update(12.0, {"host.state": "gone"})]
    assert mapper.feed(tick(OWN + 5)) == [Update(14.0, {})]
    assert mapper.feed(link(True, OWN + 6)) == []
    assert mapper.feed(message(acknowledged(), OWN + 6)) == [Update(15.0, {})]
    again = [["fan.part", 1]]
    assert mapper.feed(message(whole(again, 16500), OWN + 6.5)) == [
        Update(16.5, {"fan.speed": 1.0, "host.state": "starting"})
    ]


def test_time_passes_while_a_host_talks_and_tells_no_reading() -> None:
    """Once a second at most, and not before what may only be late: so silence can be told."""
    mapper = Mapper(SIMULATED)
    mapper.feed(message(whole([["fan.part", 1]], 10000)))
    chatter = [mapper.feed(message(acknowledged(), OWN + n * 0.25)) for n in range(1, 25)]
    told = [update for updates in chatter for update in updates]
    assert [update.time_s for update in told] == [11.0, 12.0, 13.0, 14.0, 15.0]
    assert not any(update.values for update in told)


def test_an_answer_that_is_an_error_is_a_message_and_counted_where_no_rule_knows_it() -> None:
    """Whatever the host was asked; the text passes the same rules as any other message."""
    profile = Profile(
        format=1,
        requests=(Request(json='{"method": "whole"}'),),
        updates=(UpdateSource(answer_to="whole", status="/result"),),
        messages=(MessageRule(pattern="outran", state=HostState.HALTED),),
        channels={"nozzle": Channel(temperature_c="/deg")},
    )
    mapper = Mapper(profile)
    mapper.feed(message({"id": 1, "result": {"deg": 200.0}}, OWN))
    error = {"id": 1, "error": {"code": -77, "message": "kiln outran its \x1b[2Jleash"}}
    (update,) = mapper.feed(message(error, OWN + 2))
    assert update.values["host.message"] == "kiln outran its [2Jleash"
    assert update.values["host.state"] == "halted"
    assert "host.state" not in mapper.feed(message(error, OWN + 3))[0].values
    assert mapper.refused == {}
    mapper.feed(message({"id": 1, "error": {"code": -7, "message": "busy"}}, OWN + 4))
    assert mapper.refused == {"the host answers with an error": 1}


def test_a_stop_that_is_all_that_is_said_begins_the_log() -> None:
    """Of a host that does not say its clock then; readings that come later go on from there."""
    profile = Profile(
        format=1,
        requests=(Request(json='{"method": "whole"}'),),
        updates=(UpdateSource(answer_to="whole", status="/result", clock="/result/at"),),
        messages=(MessageRule(pattern="blocked", state=HostState.HALTED),),
        channels={"nozzle": Channel(temperature_c="/deg")},
    )
    mapper = Mapper(profile)
    error = {"id": 1, "error": {"code": -77, "message": "blocked: a sensor is lost"}}
    (update,) = mapper.feed(message(error, OWN))
    assert update.values["host.state"] == "halted"
    (later,) = mapper.feed(message({"id": 1, "result": {"deg": 200.0, "at": 7e5}}, OWN + 3))
    assert later.time_s - update.time_s == pytest.approx(3.0)


def test_an_error_in_a_batch_hides_nothing_beside_it() -> None:
    """Readings in the same batch are taken, before it and behind it."""
    profile = Profile(
        format=1,
        requests=(Request(json='{"method": "hot"}'), Request(json='{"method": "cold"}')),
        updates=(
            UpdateSource(answer_to="hot", status="/result"),
            UpdateSource(answer_to="cold", status="/result"),
        ),
        channels={
            "nozzle": Channel(temperature_c="/tip"),
            "bed": Channel(temperature_c="/plate"),
        },
    )
    error = {"id": 9, "error": {"code": 5, "message": "no camera"}}
    batch = [{"id": 1, "result": {"tip": 200.0}}, error, {"id": 2, "result": {"plate": 60.0}}]
    updates = Mapper(profile).feed(message(batch, OWN))
    found = {key: value for update in updates for key, value in update.values.items()}
    assert found["nozzle.temperature_c"] == 200.0
    assert found["bed.temperature_c"] == 60.0
    assert found["host.message"] == "no camera"


def test_a_number_that_is_named_error_is_no_answer_with_an_error() -> None:
    """Controllers call the distance to their target so."""
    mapper = Mapper(SIMULATED)
    mapper.feed(message(whole([["fan.part", 1]], 10000)))
    mapper.feed(message({"loop": 3, "error": -0.5}, OWN + 1))
    assert not mapper.refused


def test_own_time_can_be_placed_in_the_log() -> None:
    """Unknown until the log has begun."""
    mapper = Mapper(SIMULATED)
    assert mapper.time_at(OWN) is None
    mapper.feed(message(whole([], 10000)))
    assert mapper.time_at(OWN + 3) == 13.0


def test_a_restarted_host_goes_on_in_the_logs_time() -> None:
    """Its clock starts anew at 0; the state says that it comes up."""
    mapper = Mapper(SIMULATED)
    mapper.feed(message(whole([["host.stands", "serving"]], 500_000)))
    mapper.feed(link(False, OWN + 1))
    mapper.feed(link(True, OWN + 9))
    (update,) = mapper.feed(message(whole([["host.stands", "coming-up"]], 500), OWN + 10))
    assert update == Update(510.0, {"host.state": "starting"})
    assert mapper.clock_jumps == 1


def test_values_that_come_before_the_clock_wait_for_it() -> None:
    """A first status without host time is not lost."""
    profile = Profile(
        format=1,
        requests=(Request(json='{"method": "whole"}'),),
        updates=(
            UpdateSource(answer_to="whole", status="/result"),
            UpdateSource(method="news", status="/params", clock="/params/t"),
        ),
        channels={"bed": Channel(temperature_c="/b", target_c="/g")},
    )
    mapper = Mapper(profile)
    assert mapper.feed(message({"id": 1, "result": {"b": 20, "g": 60}})) == []
    news = {"method": "news", "params": {"b": 21, "t": 5}}
    assert mapper.feed(message(news)) == [
        Update(5.0, {"bed.temperature_c": 21.0, "bed.target_c": 60.0})
    ]


def test_units_and_scales() -> None:
    """Fixed points: 0 °C = 273.15 K = 32 °F, 100 °C = 212 °F (SI brochure, NIST SP 811)."""
    channels = {
        "a": Channel(temperature_c=Reading(at="/k", unit="kelvin")),
        "b": Channel(temperature_c=Reading(at="/f", unit="fahrenheit")),
        "c": Channel(power=Reading(at="/p", unit="percent")),
        "d": Channel(temperature_c=Reading(at="/m", unit="millicelsius")),
        "e": Channel(temperature_c=Reading(at="/s", scale=0.25, offset=-10.0)),
        "f": Channel(power=Reading(at="/w", unit="byte")),
        "controller": Channel(uptime_s=Reading(at="/u", unit="ms")),
    }
    body = {"k": 373.15, "f": 212, "p": 41, "m": 209_800, "s": 100, "w": 255, "u": 1500}
    got = values(bare(channels), body)
    assert got == pytest.approx(
        {
            "a.temperature_c": 100.0,
            "b.temperature_c": 100.0,
            "c.power": 0.41,
            "d.temperature_c": 209.8,
            "e.temperature_c": 15.0,
            "f.power": 1.0,
            "controller.uptime_s": 1.5,
        }
    )


def test_names_with_spaces_slashes_and_tildes() -> None:
    """JSON Pointer escapes reach them all."""
    channels = {"hot end": Channel(base="/Hot End #1", temperature_c="/a~1b~0c")}
    assert values(bare(channels), {"Hot End #1": {"a/b~c": 5}}) == {"hot end.temperature_c": 5.0}


def test_channels_in_a_list_are_found_by_name_wherever_they_stand() -> None:
    """A host that sends only changed items moves them about."""
    item = {n: Item(list="/s", key="/name", equals=n) for n in ("Hot End", "Bed")}
    channels = {
        "nozzle": Channel(item=item["Hot End"], temperature_c="/v/0", target_c="/v/1"),
        "bed": Channel(item=item["Bed"], temperature_c="/v/0"),
    }
    profile = bare(channels)
    bed, hot = {"name": "Bed", "v": [60]}, {"name": "Hot End", "v": [200, 210]}
    whole = {"nozzle.temperature_c": 200.0, "nozzle.target_c": 210.0, "bed.temperature_c": 60.0}
    assert values(profile, {"s": [bed, hot]}) == whole
    assert values(profile, {"s": [hot, bed]}) == whole
    assert values(profile, {"s": [bed]}) == {"bed.temperature_c": 60.0}
    assert values(profile, {"s": "none"}) == {}


def test_a_bare_array_of_channels_is_one_message() -> None:
    """Not a batch: its items are no messages."""
    nozzle = Channel(item=Item(list="", key="/id", equals=2), temperature_c="/c")
    body = [{"id": 1, "c": 5}, {"id": 2, "c": 6}]
    assert values(bare({"nozzle": nozzle}), body) == {"nozzle.temperature_c": 6.0}


def test_positional_parameters_and_a_clock_in_milliseconds() -> None:
    """A delta in an array of parameters, as JSON-RPC allows."""
    profile = Profile(
        format=1,
        clock_unit="ms",
        updates=(UpdateSource(method="d", status="/params/0", clock="/params/1"),),
        channels={"bed": Channel(temperature_c="/x")},
    )
    mapper = Mapper(profile)
    assert mapper.feed(message({"method": "d", "params": [{"x": 1}, 4500]})) == [
        Update(4.5, {"bed.temperature_c": 1.0})
    ]


def test_a_clock_as_date_and_time() -> None:
    """RFC 3339's own example (published): 1985-04-12T23:20:50.52Z is 482196050.52 s after 1970."""
    profile = Profile(
        format=1,
        clock_unit="iso",
        updates=(UpdateSource(clock="/at"),),
        channels={"bed": Channel(temperature_c="/x")},
    )
    mapper = Mapper(profile)
    (update,) = mapper.feed(message({"at": "1985-04-12T23:20:50.52Z", "x": 1}))
    assert update.time_s == pytest.approx(482196050.52)
    assert mapper.feed(message({"at": "yesterday", "x": 2}, OWN + 1))[0].time_s == pytest.approx(
        482196051.52
    )
    assert mapper.refused == {"clock": 1}


def test_kinds_of_bare_messages_are_told_apart() -> None:
    """By a member that must be there, and by its value."""
    profile = Profile(
        format=1,
        updates=(
            UpdateSource(has="/type", equals="status", status="/data"),
            UpdateSource(has="/snapshot", status="/snapshot"),
        ),
        channels={"bed": Channel(temperature_c="/x")},
    )
    mapper = Mapper(profile)
    bodies = [{"type": "status", "data": {"x": 1}}, {"type": "chat", "data": {"x": 2}}]
    bodies.append({"snapshot": {"x": 3}})
    got = [u.values for body in bodies for u in mapper.feed(message(body))]
    assert got == [{"bed.temperature_c": 1.0}, {"bed.temperature_c": 3.0}]


def test_a_batch_is_several_updates() -> None:
    """JSON-RPC 2.0, section 6: an array of messages in one frame."""
    mapper = Mapper(SIMULATED)
    batch = [whole([], 1000), told([["fan.part", 0.5]], 1300), {"jsonrpc": "2.0"}]
    assert mapper.feed(message(batch)) == [Update(1.0, {}), Update(1.3, {"fan.speed": 0.5})]


@pytest.mark.parametrize(
    ("sent", "expected"),
    [
        (0, "none"),
        (18, "too-cold;open"),
        ("wide", "input-out-of-range"),
        ("wide, odd", "input-out-of-range;odd"),
        ("none", "none"),
        (["wide", "wide"], "input-out-of-range"),
        ({"wide": True, "open": False}, "input-out-of-range"),
        (True, "faulty"),
        (False, "none"),
    ],
)
def test_flags_in_every_form(sent: Any, expected: str) -> None:
    """Bits, words, lists, objects and bools."""
    reading = Reading(
        at="/f",
        words={"wide": "input-out-of-range", "true": "faulty"},
        bits={"1": "too-cold", "4": "open"},
    )
    assert values(bare({"bed": Channel(flags=reading)}), {"f": sent}) == {"bed.flags": expected}


def test_messages_raise_what_their_rule_says() -> None:
    """An event kind, flags and a state; the first rule that fits counts; the text may go."""
    rules = (
        MessageRule(pattern="nozzle.* implausible", channel="nozzle", flags="open"),
        MessageRule(pattern="too little heat", kind=Kind.NO_RISE, channel="bed"),
        MessageRule(pattern="emergency", state=HostState.HALTED),
        MessageRule(pattern="^by the way", keep=False),
    )
    profile = bare({"host": Channel(message="/m")}, messages=rules)
    for text, made in [
        ("stopped: Nozzle implausible", {"nozzle.flags": "open"}),
        ("bed: TOO LITTLE HEAT, emergency", {"bed.reported": "no-rise"}),
        ("emergency", {"host.state": "halted"}),
        ("hello", {}),
    ]:
        assert values(profile, {"m": text}) == {"host.message": text} | made
    assert values(profile, {"m": "by the way: 1"}) == {}


WORDS = ["jsonrpc", "id", "method", "params", "result", "no", "clock_ms", "pace", "lines"]
PATHS = ["host.stands", "host.because", "nozzle.celsius", "bed.duty", "bed.flags", "where.x"]
WORDS += PATHS

json_values: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(WORDS),
            inner,
            max_size=6,
        )
    ),
    max_leaves=25,
)
line_lists = st.lists(st.tuples(st.sampled_from(PATHS), json_values), max_size=8) | json_values


class Feeding(RuleBasedStateMachine):
    """Any entries in any order: updates stay ordered, clean, repeatable, and memory flat."""

    def __init__(self) -> None:
        super().__init__()
        self.own_s = OWN
        self.entries: list[Entry] = []
        self.mapper = Mapper(SIMULATED)
        self.updates: list[Update] = []

    def feed(self, entry: Entry) -> None:
        self.entries.append(entry)
        self.updates += self.mapper.feed(entry)

    @rule(elapsed_s=st.floats(0, 60))
    def pass_time(self, elapsed_s: float) -> None:
        self.own_s += elapsed_s
        self.feed(tick(self.own_s))

    @rule(up=st.booleans())
    def change_link(self, up: bool) -> None:
        self.feed(link(up, self.own_s))

    @rule(body=json_values)
    def send_json(self, body: Any) -> None:
        self.feed(message(body, self.own_s))

    @rule(lines=line_lists, clock_ms=st.floats(-1e9, 1e15) | json_values)
    def send_lines(self, lines: Any, clock_ms: Any) -> None:
        self.feed(message(told(lines, clock_ms), self.own_s))

    @rule(lines=line_lists, clock_ms=st.floats(0, 1e9), pace=st.floats() | json_values)
    def begin_anew(self, lines: Any, clock_ms: float, pace: Any) -> None:
        self.feed(message(acknowledged(pace), self.own_s))
        self.feed(message(whole(lines, clock_ms), self.own_s))

    @rule(frame=st.binary(max_size=30))
    def send_garbage(self, frame: bytes) -> None:
        self.feed(message(frame, self.own_s))

    @invariant()
    def is_sound(self) -> None:
        times = [update.time_s for update in self.updates]
        assert times == sorted(times)
        for update in self.updates:
            for key, value in update.values.items():
                assert "." in key
                if isinstance(value, str):
                    assert value.isprintable()
                    assert len(value) <= 16 * 41
                else:
                    assert type(value) is float
                    assert abs(value) <= 1e13
        assert len(self.mapper.refused) <= 50

    def teardown(self) -> None:
        again = Mapper(SIMULATED)
        assert [u for entry in self.entries for u in again.feed(entry)] == self.updates


@pytest.mark.parametrize("examples", first(1, [6, 40]))
def test_any_feeding_keeps_the_rules(examples: int) -> None:
    """Whatever comes in whatever order."""
    run_state_machine_as_test(
        Feeding,
        settings=settings(max_examples=examples, stateful_step_count=25, deadline=None),
    )


@given(st.binary(max_size=80), st.sampled_from(EntryKind))
def test_any_payload_under_any_kind_is_survived(payload: bytes, kind: EntryKind) -> None:
    """A damaged recording gives what it can."""
    mapper = Mapper(SIMULATED)
    mapper.feed(message(whole([])))
    for update in mapper.feed(Entry(OWN, kind, payload)):
        assert update.time_s == 12.25


def test_a_status_can_stand_under_a_name_in_the_message() -> None:
    """For messages about one channel each; numbers name as well, anything else is passed over."""
    profile = Profile(
        format=1,
        updates=(UpdateSource(status="/d", under="/who"),),
        channels={
            "nozzle": Channel(temperature_c="/tip/t"),
            "bed": Channel(temperature_c="/2/t"),
        },
    )
    mapper = Mapper(profile)
    frames = [
        b'{"who": "tip", "d": {"t": 200.0}}',
        b'{"who": 2, "d": {"t": 60.0}}',
        b'{"who": ["tip"], "d": {"t": 1.0}}',
        b'{"d": {"t": 1.0}}',
    ]
    heard = [
        update.values
        for n, frame in enumerate(frames)
        for update in mapper.feed(Entry(float(n), EntryKind.MESSAGE, frame))
    ]
    assert heard == [{"nozzle.temperature_c": 200.0}, {"bed.temperature_c": 60.0}, {}, {}]


def test_a_reading_can_stand_in_an_item_of_its_own() -> None:
    """A list of names and values: each quantity of one channel is another item."""
    items = {
        name: Reading(at="/v", item=Item(list="/list", key="/k", equals=f"tip {name}"))
        for name in ("is", "goal")
    }
    profile = Profile(
        format=1,
        updates=(UpdateSource(),),
        channels={"nozzle": Channel(temperature_c=items["is"], target_c=items["goal"])},
    )
    frame = (
        b'{"list": [{"k": "tip goal", "v": 210}, {"k": "x", "v": 1}, {"k": "tip is", "v": 209}]}'
    )
    (update,) = Mapper(profile).feed(Entry(1.0, EntryKind.MESSAGE, frame))
    assert update.values == {"nozzle.temperature_c": 209.0, "nozzle.target_c": 210.0}


@pytest.mark.parametrize(
    ("sent", "unit", "taken"),
    [
        ('"210.5"', "celsius", 210.5),
        ('"210.5 °C"', "celsius", 210.5),
        ('"483.65K"', "kelvin", 210.5),
        ('"210.5"', "", None),
        ('"hot"', "celsius", None),
        ('"1e999"', "celsius", None),
        ('"0x20"', "celsius", None),
        ('"nan"', "celsius", None),
        ("true", "celsius", None),
    ],
)
def test_numbers_sent_as_text_count_where_a_unit_is_said(
    sent: str, unit: str, taken: float | None
) -> None:
    """Without a unit they are refused, as is any text that is no number."""
    profile = Profile(
        format=1,
        updates=(UpdateSource(),),
        channels={"nozzle": Channel(temperature_c=Reading(at="/t", unit=unit))},
    )
    mapper = Mapper(profile)
    frame = f'{{"t": {sent}}}'.encode()
    (update,) = mapper.feed(Entry(1.0, EntryKind.MESSAGE, frame))
    assert update.values.get("nozzle.temperature_c") == pytest.approx(taken)
    is_said = "nozzle.no_temperature_c" in update.values
    assert (mapper.refused["nozzle.temperature_c"] or is_said) == (taken is None)


def test_words_stand_for_numbers_where_the_profile_says_so() -> None:
    """A target that is off is 0, as a word or as null; a heater that is on or off is 1 or 0."""
    channel = Channel(
        target_c=Reading(at="/want", words={"off": "0", "null": "0"}),
        power=Reading(at="/on", words={"true": "1", "false": "0"}),
    )
    profile = bare({"bed": channel})
    assert values(profile, {"want": "off", "on": True}) == {"bed.target_c": 0.0, "bed.power": 1.0}
    assert values(profile, {"want": None, "on": False}) == {"bed.target_c": 0.0, "bed.power": 0.0}
    assert values(profile, {"want": 60, "on": None}) == {"bed.target_c": 60.0}
    mapper = Mapper(profile)
    mapper.feed(message({"want": "later", "on": "yes"}))
    assert mapper.refused == {"bed.target_c": 1, "bed.power": 1}


def test_null_in_a_list_stands_for_what_the_profile_says() -> None:
    """As outside of lists."""
    item = Item(list="/l", key="/n", equals="bed")
    reading = Reading(at="/want", words={"null": "0"})
    profile = bare({"bed": Channel(item=item, target_c=reading)})
    assert values(profile, {"l": [{"n": "bed", "want": None}]}) == {"bed.target_c": 0.0}


def test_a_status_can_stand_under_two_names() -> None:
    """One value a message, with the channel and the quantity as members of their own."""
    profile = Profile(
        format=1,
        updates=(UpdateSource(has="/part", under=("/part", "/what"), status="/value"),),
        channels={"bed": Channel(base="/bed", temperature_c="/temp", target_c="/want")},
    )
    assert values(profile, {"part": "bed", "what": "temp", "value": 59.5}) == {
        "bed.temperature_c": 59.5
    }
    assert values(profile, {"part": "bed", "what": "want", "value": 60}) == {"bed.target_c": 60.0}
    assert values(profile, {"part": "bed", "what": None, "value": 60}) == {}


def test_a_status_can_be_a_text_that_holds_json() -> None:
    """With the limits of any message: what is no JSON, or nested too deeply, gives nothing."""
    profile = Profile(
        format=1,
        updates=(UpdateSource(status="/payload"),),
        channels={"bed": Channel(temperature_c="/bed/temp")},
    )
    assert values(profile, {"payload": '{"bed": {"temp": 59.5}}'}) == {"bed.temperature_c": 59.5}
    for bad in ("{", "[" * 5000, '{"bed": {"temp": NaN}}', "59.5", '"{}"'):
        assert values(profile, {"payload": bad}) == {}


def paired(body: Any, status: str = "", **source: Any) -> Profile:
    """A host whose status is pairs, and every name of `body` a channel of degrees."""
    return Profile(
        format=1,
        updates=(UpdateSource(status=status, pairs=True, **source),),
        channels={name: Channel(temperature_c=f"/{name}") for name in body},
    )


def test_pairs_are_read_as_an_object_would_be() -> None:
    """Two cells are a name and its value, more a name and a list; numbers name as texts do."""
    channels = {
        "nozzle": Channel(temperature_c="/nozzle.celsius", flags="/nozzle.flags"),
        "bed": Channel(temperature_c="/10/0", target_c="/10/1"),
        "board": Channel(temperature_c="/-3"),
    }
    profile = Profile(format=1, updates=(UpdateSource(pairs=True),), channels=channels)
    rows = [["nozzle.celsius", 209.5], ["nozzle.flags", ["open"]], [10, 60.1, 60], [-3, 31]]
    assert values(profile, rows) == {
        "nozzle.temperature_c": 209.5,
        "nozzle.flags": "open",
        "bed.temperature_c": 60.1,
        "bed.target_c": 60.0,
        "board.temperature_c": 31.0,
    }


@pytest.mark.parametrize("clock", ["/d/at", "/d/0/1", "/at"])
def test_a_clock_stands_in_a_row_by_name_or_number_or_beside_the_rows(clock: str) -> None:
    profile = Profile(
        format=1,
        updates=(UpdateSource(status="/d", pairs=True, clock=clock),),
        channels={"nozzle": Channel(temperature_c="/tip")},
    )
    mapper = Mapper(profile)
    message = {"d": [["at", 71.5], ["tip", 209.5]], "at": 71.5}
    updates = mapper.feed(Entry(9.0, EntryKind.MESSAGE, json.dumps(message).encode()))
    assert [(one.time_s, one.values) for one in updates] == [
        (71.5, {"nozzle.temperature_c": 209.5})
    ]


names = st.text("ab~/. 0", min_size=1, max_size=5)
cells = st.none() | st.booleans() | st.floats(-1e9, 1e9) | st.text(max_size=5)
contents = cells | st.lists(cells, max_size=3) | st.dictionaries(names, cells, max_size=3)


@given(st.dictionaries(names, contents, max_size=8), st.sampled_from(["", "/in", "/0"]))
def test_pairs_and_the_same_object_give_the_same(body: dict[str, Any], status: str) -> None:
    """The same values, the same refusals, wherever the status stands; longer rows as lists."""
    rows = [
        [name, *value] if type(value) is list and len(value) > 1 else [name, value]
        for name, value in body.items()
    ]
    channels = {
        f"c{n}": Channel(base=f"/{escaped(name)}", temperature_c="", message="/0", flags="/a")
        for n, name in enumerate(body)
    }
    heard = []
    for is_pairs, inner in ((True, rows), (False, body)):
        source = UpdateSource(status=status, pairs=is_pairs)
        mapper = Mapper(Profile(format=1, updates=(source,), channels=channels))
        sent: Any = {"": {"x": 1}, "/in": {"in": inner}, "/0": [inner]}[status]
        if not status:
            sent = inner
        heard.append((mapper.feed(message(sent)), mapper.refused))
    assert heard[0] == heard[1]


@pytest.mark.parametrize(
    ("rows", "read", "refused"),
    [
        ([], {}, 0),
        (["a", 1], {"a": 1.0}, 0),
        ([7, 1], {"7": 1.0}, 0),
        ([["a", 1], ["a", 2]], {"a": 2.0}, 0),
        ([["a", 1], ["a", None]], {"a": "null"}, 0),
        ([["a", 1], ["b"], [], 5, None, [True, 1], [1.5, 1], [None, 1]], {"a": 1.0}, 7),
        ([[["a"], 1], {"a": 1}, [10**9, 1], ["b", 2]], {"b": 2.0}, 3),
        ({"a": 1}, {}, 1),
        (5, {}, 1),
        ("a", {}, 1),
        (None, {}, 0),
        ('[["a", 1]]', {"a": 1.0}, 0),
        ('["a", 1]', {"a": 1.0}, 0),
        ([["b", 1]] * 1000 + [["a", 1]] * 3, {"b": 1.0}, 3),
    ],
)
def test_rows_that_are_no_pairs_are_refused_and_counted(
    rows: Any, read: dict[str, float | str], refused: int
) -> None:
    """The rest is read; a row by itself is one row; later rows win; there is an end to it."""
    mapper = Mapper(paired(["a", "b", "7"], "/s"))
    (update,) = mapper.feed(message({"s": rows}))
    readings = {key: value for key, value in update.values.items() if key != UNREADABLE}
    said = {name: "no_" if isinstance(value, str) else "" for name, value in read.items()}
    assert readings == {f"{name}.{said[name]}temperature_c": read[name] for name in read}
    assert mapper.refused == ({"no pair": refused} if refused else {})


def test_pairs_can_stand_under_a_name() -> None:
    """Messages about one channel each, whose quantities are pairs."""
    profile = Profile(
        format=1,
        updates=(UpdateSource(status="/d", under="/who", pairs=True),),
        channels={"bed": Channel(base="/bed", temperature_c="/t", target_c="/w")},
    )
    body = {"who": "bed", "d": [["t", 59.5], ["w", 60]]}
    assert values(profile, body) == {"bed.temperature_c": 59.5, "bed.target_c": 60.0}
    assert values(profile, {"who": "bed", "d": ["t", 59.5]}) == {"bed.temperature_c": 59.5}


def test_an_answer_without_readings_is_no_update() -> None:
    """It neither begins the log nor says that a host which was gone is up again."""
    mapper = Mapper(SIMULATED)
    assert mapper.feed(message(acknowledged(10.0))) == []
    assert mapper.feed(message(whole([], 5000))) == [Update(5.0, {})]
    mapper.feed(link(False, OWN + 1))
    assert mapper.feed(message(acknowledged(10.0), OWN + 2)) == []
    (update,) = mapper.feed(message(whole([["host.stands", "tripped"]], 25_000), OWN + 2))
    assert update == Update(25.0, {"host.state": "halted", "host.said": "tripped"})


def test_a_message_that_stands_is_reported_once() -> None:
    """A host that repeats everything says nothing new with it; one that says it again does."""
    profile = Profile(
        format=1,
        updates=(UpdateSource(),),
        messages=(MessageRule(pattern="open", kind=Kind.CONVERTER_FLAG, channel="nozzle"),),
        channels={
            "nozzle": Channel(temperature_c="/n"),
            "host": Channel(message="/words"),
        },
    )
    mapper = Mapper(profile)
    said = ["sensor open"] * 5 + [""] * 3 + ["sensor open"] * 2 + ["fine", "sensor open"]
    bodies = [{"n": 21.0, **({"words": words} if words else {})} for words in said]
    updates = [update for body in bodies for update in mapper.feed(message(body))]
    reported = [n for n, update in enumerate(updates) if "nozzle.reported" in update.values]
    assert reported == [0, 8, 11]


@pytest.mark.parametrize("gone", [None, "lost"])
def test_what_stands_in_the_place_of_what_would_hold_a_reading_takes_it_away(gone: Any) -> None:
    """A part of a document is set to null where it is removed (RFC 7396); a known word says so."""
    profile = Profile(
        format=1,
        addresses=("tcp://[::1]:9",),
        updates=(UpdateSource(status=""),),
        channels={
            "tip": Channel(
                temperature_c=Reading(at="/tip/is/K", unit="kelvin"),
                target_c=Reading(
                    at="/tip/should/K", unit="kelvin", words={"lost": "0", "null": "0"}
                ),
            )
        },
    )
    mapper = Mapper(profile)

    def read(message: Any, at_s: float) -> dict[str, Value]:
        entry = Entry(at_s, EntryKind.MESSAGE, msgspec.json.encode(message))
        return mapper.feed(entry)[-1].values

    first = read({"tip": {"is": {"K": 483.15}, "should": {"K": 483.15}}}, 1.0)
    assert first["tip.temperature_c"] == pytest.approx(210.0)
    held = read({"tip": {"should": gone}}, 2.0)
    assert held == {"tip.target_c": 0.0}
    lost = read({"tip": {"is": gone}}, 3.0)
    # A word that the profile does not know may be about anything.
    assert lost == ({absent_key("tip.temperature_c"): "null"} if gone is None else {})
    assert read({"base": {}}, 4.0) == {}
