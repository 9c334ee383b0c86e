"""Hosts whose messages are strange: nesting, names, lists, envelopes, framings, asking."""

import json
from datetime import UTC, datetime
from typing import Any

from tests.client.learn.odd.host import Changes, OddHost, Raw
from tests.client.learn.odd.machine import Heated, Machine
from tests.client.learn.odd.numbers import BOTH, MOTION, NOZZLE, XY, notify
from tests.client.learn.ways import Way

TEMPERATURES = (
    "nozzle.temperature_c",
    "nozzle.target_c",
    "bed.temperature_c",
    "bed.target_c",
)


def _whole(h: Heated) -> dict[str, Any]:
    return {"temp": round(h.shown, 2), "target": h.goal, "power": round(h.power, 3)}


def slashes_and_accents() -> OddHost:
    """Names with slashes, tildes, spaces and letters beyond ASCII, in another language."""
    changes = Changes()

    def one(h: Heated) -> dict[str, Any]:
        return {"Ist °C": round(h.shown, 2), "Soll °C": h.goal, "Leistung %": round(h.power * 100)}

    def say(m: Machine) -> list[Any]:
        status = {"Düse/links~1": one(m.nozzle), "Heizplatte": one(m.bed)}
        return [{"wie es steht": changes.of(status, m), "Zeit": m.up_s}]

    must = ("nozzle.temperature_c", "nozzle.target_c", "nozzle.power", "Heizplatte.temperature_c")
    truths = {"Heizplatte.temperature_c": lambda m: m.bed.shown}
    return OddHost("slashes and accents", say, must, truths, clock="s")


def polled_nested() -> OddHost:
    """Speaks only when asked, under result / data / state / heaters."""

    def say(m: Machine) -> list[Any]:
        heaters = [
            {"tag": "hot end", **_whole(m.nozzle)},
            {"tag": "print surface", **_whole(m.bed)},
        ]
        state = {"heaters": heaters, "condition": "printing"}
        body = {"data": {"state": state, "took_ms": 1.5}, "at": m.up_s}
        return [{"jsonrpc": "2.0", "id": 1, "result": body}]

    truths = {"host.state": lambda m: "up"}
    return OddHost(
        "polled nested",
        say,
        (*BOTH, "host.state"),
        truths,
        requests=('{"method": "give", "params": {"all": true}}',),
        polled=True,
        options=("--every", "0.25"),
        clock="s",
    )


def polled_bare() -> OddHost:
    """No envelope; each question gets one answer."""

    def say(m: Machine) -> list[Any]:
        body = {"nozzle": _whole(m.nozzle), "bed": _whole(m.bed)}
        return [{"re": "status", "ok": True, "body": body, "ms": round(m.wall_s * 1000)}]

    return OddHost(
        "polled bare",
        say,
        BOTH,
        requests=('{"cmd": "status"}',),
        bare=True,
        polled=True,
        options=("--every", "0.25"),
        clock="ms",
    )


def two_polls() -> OddHost:
    """Two questions, asked in turn: temperatures here, position there."""

    def say(m: Machine) -> list[Any]:
        return [
            {"jsonrpc": "2.0", "id": 1, "result": {"nozzle": _whole(m.nozzle)}},
            {
                "jsonrpc": "2.0",
                "id": 2,
                "result": {"position": {"x": round(m.x, 2), "y": round(m.y, 2), "z": m.z}},
            },
        ]

    return OddHost(
        "two polls",
        say,
        (*NOZZLE, *XY),
        MOTION,
        requests=('{"method": "temps"}', '{"method": "place"}'),
        polled=True,
        options=("--every", "0.25"),
    )


def many_methods() -> OddHost:
    """A method for each quantity."""

    def say(m: Machine) -> list[Any]:
        pairs = (("nozzle", m.nozzle), ("bed", m.bed))
        return [
            notify("temps", {name: round(h.shown, 2) for name, h in pairs}),
            notify("targets", {name: h.goal for name, h in pairs}),
            notify("powers", {name: round(h.power, 3) for name, h in pairs}),
        ]

    return OddHost("many methods", say, BOTH)


def batches() -> OddHost:
    """Frames are JSON-RPC batches (section 6): arrays of notifications."""

    def say(m: Machine) -> list[Any]:
        return [
            [
                notify("thermal", {"head": _whole(m.nozzle), "t": m.up_s}),
                notify("axes", {"X": round(m.x, 2), "Y": round(m.y, 2), "Z": m.z, "t": m.up_s}),
            ]
        ]

    return OddHost("batches", say, (*NOZZLE, *XY), MOTION, clock="s")


def greeting_needed() -> OddHost:
    """A greeting, then a subscription; pings in between."""
    changes = Changes()

    def say(m: Machine) -> list[Any]:
        if m.n == 0:
            return [
                {"jsonrpc": "2.0", "id": 1, "result": {"server": "attic", "version": 4}},
                {"jsonrpc": "2.0", "id": 2, "result": {"nozzle": _whole(m.nozzle)}},
                notify("ping", {"n": 0}),
            ]
        said = [notify("nozzle news", changes.of({"nozzle": _whole(m.nozzle)}, m))]
        return [*said, notify("ping", {"n": m.n})] if m.n % 8 == 0 else said

    return OddHost(
        "greeting needed",
        say,
        NOZZLE,
        requests=('{"method": "hello", "params": ["me"]}', '{"method": "follow"}'),
    )


def topics() -> OddHost:
    """[topic, payload] in bare arrays."""

    def say(m: Machine) -> list[Any]:
        return [
            ["nozzle", _whole(m.nozzle)],
            ["bed", _whole(m.bed)],
            ["where", [round(m.x, 2), round(m.y, 2), m.z]],
        ]

    return OddHost("topics", say, BOTH)


def pairs_by_place() -> OddHost:
    """Reading, target and percent stand in arrays; nothing but places tells them apart."""

    def say(m: Machine) -> list[Any]:
        rows = [[round(h.shown, 1), h.goal, round(h.power * 100)] for h in (m.nozzle, m.bed)]
        return [{"heat": rows, "sec": m.up_s}]

    return OddHost("pairs by place", say, NOZZLE, clock="s")


def key_and_value() -> OddHost:
    """One value a message, under a path that is a text."""

    def say(m: Machine) -> list[Any]:
        said = []
        for name, h in (("nozzle", m.nozzle), ("bed", m.bed)):
            for quantity, value in _whole(h).items():
                said.append({"path": f"heat.{name}.{quantity}", "value": value})
        return said

    return OddHost("key and value", say, BOTH)


def two_keys_and_value() -> OddHost:
    """One value a message; the channel and the quantity are members of their own."""

    def say(m: Machine) -> list[Any]:
        said = []
        for name, h in (("nozzle", m.nozzle), ("bed", m.bed)):
            for quantity, value in _whole(h).items():
                said.append({"part": name, "property": quantity, "value": value, "t": m.up_s})
        return said

    return OddHost("two keys and value", say, BOTH, clock="s")


def numbered_with_names_once() -> OddHost:
    """Channels are numbered; their names are said once, at the beginning."""

    def say(m: Machine) -> list[Any]:
        data = {
            str(n): {"rd": round(h.shown, 2), "sp": h.goal, "out": round(h.power * 100, 1)}
            for n, h in ((4, m.nozzle), (7, m.bed), (9, m.chamber))
        }
        if m.n == 0:
            names = {"4": "hot end", "7": "hot bed", "9": "cabinet"}
            return [{"names": names}, {"data": data}]
        return [{"data": data}]

    return OddHost("numbered", say, ("nozzle.temperature_c", "nozzle.target_c", "nozzle.power"))


def flat_camel() -> OddHost:
    """All flat, in camel case, with set and actual in the names."""
    changes = Changes()

    def say(m: Machine) -> list[Any]:
        status = {
            "hotendActualC": round(m.nozzle.shown, 2),
            "hotendSetC": m.nozzle.goal,
            "hotendPwmPercent": round(m.nozzle.power * 100),
            "bedActualC": round(m.bed.shown, 2),
            "bedSetC": m.bed.goal,
            "bedPwmPercent": round(m.bed.power * 100),
            "posX": round(m.x, 2),
            "posY": round(m.y, 2),
            "posZ": m.z,
            "partFanPercent": 40,
        }
        return [changes.of(status, m) | {"epochMs": round(m.wall_s * 1000)}]

    truths = {**MOTION, "fan.speed": lambda m: 0.4}
    return OddHost("flat camel", say, (*BOTH, *XY, "fan.speed"), truths, clock="ms")


def histories_beside() -> OddHost:
    """Each channel carries the last readings as an array beside the newest."""

    def say(m: Machine) -> list[Any]:
        past = [round(m.nozzle.shown - 0.5 * k, 2) for k in range(5, 0, -1)]
        return [{"nozzle": {**_whole(m.nozzle), "history": past}, "bed": _whole(m.bed)}]

    return OddHost("histories", say, BOTH)


def two_nozzles() -> OddHost:
    """Two nozzles, and a bed; positional list of objects."""

    def say(m: Machine) -> list[Any]:
        other = {"temp": round(m.chamber.shown + 0.4, 2), "target": 0.0, "power": 0.0}
        body = {"nozzle 1": _whole(m.nozzle), "nozzle 2": other, "bed": _whole(m.bed)}
        return [notify("status", [body])]

    must = ("nozzle 1.temperature_c", "nozzle 1.target_c", "nozzle 1.power", "bed.temperature_c")
    truths = {
        "nozzle 1.temperature_c": lambda m: m.nozzle.shown,
        "nozzle 1.target_c": lambda m: m.nozzle.goal,
        "nozzle 1.power": lambda m: m.nozzle.power,
    }
    return OddHost("two nozzles", say, must, truths)


def own_state_word() -> OddHost:
    """A state word of its own, that the user translates, and one that is common."""
    changes = Changes()

    def word(m: Machine) -> str:
        return "zorbing" if m.n < 60 else "sulking"

    def say(m: Machine) -> list[Any]:
        status = {"nozzle": _whole(m.nozzle), "mood": word(m), "says": "all is well here"}
        return [notify("!", changes.of(status, m))]

    truths = {
        "host.state": lambda m: {"zorbing": "up", "sulking": "halted"}[word(m)],
        "host.message": lambda m: "all is well here",
    }
    return OddHost(
        "own state word",
        say,
        (*NOZZLE, "host.state", "host.message"),
        truths,
        options=("--word", "zorbing=up", "--word", "sulking=halted"),
    )


def renamed() -> OddHost:
    """Names of no meaning that the user translates on the command line."""

    def say(m: Machine) -> list[Any]:
        return [{"A1": _whole(m.nozzle), "A2": _whole(m.bed), "A3": _whole(m.chamber)}]

    return OddHost(
        "renamed",
        say,
        (*BOTH, "chamber.temperature_c"),
        options=("--call", "A1=nozzle", "--call", "A2=bed", "--call", "A3=chamber"),
        life="holding",
    )


def text_sequence() -> OddHost:
    """JSON text sequences (RFC 7464): 0x1e before, a line end after each text."""

    def say(m: Machine) -> list[Any]:
        return [{"nozzle": _whole(m.nozzle), "bed": _whole(m.bed), "time": m.up_s}]

    return OddHost("text sequence", say, BOTH, given_way=Way("tcp", "sequence"), clock="s")


def log_lines_between() -> OddHost:
    """Lines that are no JSON between those that are; lines end with CR LF."""

    def say(m: Machine) -> list[Any]:
        said: list[Any] = [{"nozzle": _whole(m.nozzle), "bed": _whole(m.bed)}]
        return [Raw(b"INFO: all is well"), *said] if m.n % 5 == 0 else said

    return OddHost("log lines between", say, BOTH, given_way=Way("unix", "line of two"))


def wrapped_in_text() -> OddHost:
    """The status is JSON once more, inside a text."""

    def say(m: Machine) -> list[Any]:
        inner = {"nozzle": _whole(m.nozzle), "bed": _whole(m.bed)}
        return [{"topic": "printer", "payload": json.dumps(inner), "t": m.up_s}]

    return OddHost("wrapped in text", say, BOTH, clock="s")


def holding_still() -> OddHost:
    """Nothing but a hold at temperature; two words for each quantity, no clock."""

    def say(m: Machine) -> list[Any]:
        return [
            {
                "heating circuits": {
                    "extruder head": {
                        "measured value": round(m.nozzle.shown, 3),
                        "desired value": m.nozzle.goal,
                        "control effort": round(m.nozzle.power, 4),
                    },
                    "build plate": {
                        "measured value": round(m.bed.shown, 3),
                        "desired value": m.bed.goal,
                        "control effort": round(m.bed.power, 4),
                    },
                }
            }
        ]

    return OddHost("holding still", say, BOTH, life="holding")


def token_wanted() -> OddHost:
    """Wants a token in a header of its own; local time as text in each message."""

    def say(m: Machine) -> list[Any]:
        when = datetime.fromtimestamp(m.wall_s, UTC).strftime("%Y-%m-%d %H:%M:%S.%f")[:-3]
        return [{"data": {"nozzle": _whole(m.nozzle)}, "when": when}]

    return OddHost(
        "token wanted",
        say,
        NOZZLE,
        given_way=Way("ws", "message"),
        token="wax and feathers",
        options=("--token-env", "ODD_TOKEN", "--token-header", "X-Key", "--token-prefix", ""),
        clock="iso",
    )


HOSTS = (
    slashes_and_accents,
    polled_nested,
    polled_bare,
    two_polls,
    many_methods,
    batches,
    greeting_needed,
    topics,
    pairs_by_place,
    key_and_value,
    two_keys_and_value,
    numbered_with_names_once,
    flat_camel,
    histories_beside,
    two_nozzles,
    own_state_word,
    renamed,
    text_sequence,
    log_lines_between,
    wrapped_in_text,
    holding_still,
    token_wanted,
)
