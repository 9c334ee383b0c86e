"""Secrets planted in every input that can carry one, and looked for in every output."""

import os
import string
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from client.simulated.host import SimulatedHost
from client.simulated.scenario import load_scenario
from tests.tui.secrethost import TellTale, World, mode_of

PLACES = (
    "query-named",
    "query-bare",
    "title-query",
    "title-user",
    "request-named",
    "request-login",
    "keep-alive",
    "token-variable",
    "line-query",
    "learn-query",
    "send",
    "poll",
    "user-part",
    "wrong-scheme-user",
    "wrong-scheme-query",
    "unreachable-query",
    "twice-query",
    "no-profile",
    "variable-name",
    "wrong-option",
    "notify",
    "token-file",
    "prefix",
    "placed-token",
    "schema-request",
)


def secrets_of(draw_from: str) -> st.SearchStrategy[list[str]]:
    """As many different secrets as there are places, each with letters and digits."""
    one = st.text(draw_from, min_size=14, max_size=30).map(lambda text: f"q7Z{text}4x")
    return st.lists(one, min_size=len(PLACES), max_size=len(PLACES), unique=True)


PROFILE = """format = 1
title = "attic ws://me:{title-user}@there.example/feed?x={title-query} here"
addresses = ["{address}?token={query-named}&feed={query-bare}"]
[token]
env = "ATTIC_TOKEN"
[keep_alive]
json = '{{"api_key": "{keep-alive}"}}'
every_s = 1.0
envelope = false
[[requests]]
json = '{{"cmd": "in", "password": "{request-named}"}}'
envelope = false
[[requests]]
json = '{{"method": "login", "params": ["me", "{request-login}"]}}'
[[updates]]
status = ""
[channels.nozzle]
temperature_c = "/t"
target_c = "/want"
[channels.host]
message = "/message"
"""
OTHER = """format = 1
addresses = ["{address}?key=${{token}}"]
[token]
file = "{file}"
prefix = "{prefix} "
[[requests]]
json = '{{"cmd": "in", "secret": "${{token}}"}}'
envelope = false
[[updates]]
status = ""
[channels.nozzle]
temperature_c = "/t"
[channels.host]
message = "/message"
"""


@pytest.mark.slow
@settings(
    max_examples=int(os.environ.get("SECRETS_EXAMPLES", "2")),
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(secrets_of(string.ascii_letters + string.digits + "._~-"))
def test_no_secret_leaves_but_to_its_host(drawn: list[str]) -> None:
    """Each reaches the host it is for, where it is for one, and no output of any command."""
    planted = dict(zip(PLACES, drawn, strict=True))
    with tempfile.TemporaryDirectory() as folder, TellTale() as host:
        world = World(Path(folder))
        _live(world, host.address, planted)
        _files(world)
        _learn(world, host.address, planted)
        _other(world, host.address, planted)
        _refused(world, host.address, planted)
        for place in ("query-named", "query-bare", "request-named", "request-login", "keep-alive"):
            assert planted[place] in host.heard
        for place in ("token-variable", "learn-query", "send", "poll", "token-file"):
            assert planted[place] in host.heard
        assert world.found(planted) == []
        print(f"{len(planted)} secrets planted, {world.read} outputs read")


def _live(world: World, address: str, planted: dict[str, str]) -> None:
    text = PROFILE.format(address=address, **planted)
    world.put("ohmvigil/attic.toml", text)
    world.variables["ATTIC_TOKEN"] = planted["token-variable"]
    env = world.folder / "hook.txt"
    hook = f"sh -c 'env >> {env}; echo no'"
    world.run("watch", "attic", "--check")
    world.run("record", "attic", "--hook", hook, "--test-notify")
    world.run("record", "attic", "--for", "3", "--hook", hook)
    world.run("record", "attic", "--for", "3", "--json", "-o", str(world.folder / "night.ohmv"))
    assert "OHMVIGIL_TITLE" in env.read_text()
    simulated = SimulatedHost(load_scenario("healthy-night"), 1, 20.0)
    try:
        at = f"{simulated.start()}?go={planted['line-query']}"
        world.run("record", at, "--for", "20")
    finally:
        simulated.stop()


def _files(world: World) -> None:
    night = str(world.folder / "night.ohmv")
    at = world.folder / "out"
    at.mkdir()
    world.run("note", night, "looked at it")
    world.run("judge", night, code=None)
    world.run("judge", night, "--json", code=None)
    for name in ("a.html", "a.md"):
        world.run("report", night, "-o", str(at / name))
    for name in ("a.csv", "a.parquet"):
        world.run("export", night, "-o", str(at / name))
    world.run("bundle", night, "-o", str(at / "a.zip"))
    world.run("report", str(at / "a.zip"), "-o", str(at / "b.html"))
    world.run("check", night, "--repair", str(at / "saved.ohmv"))
    profile = str(world.folder / "ohmvigil" / "attic.toml")
    world.run("import", str(at / "a.csv"), "--profile", profile, "-o", str(at / "b.ohmv"))
    world.run("replay", night, code=2)


def _learn(world: World, address: str, planted: dict[str, str]) -> None:
    """What is drafted holds what it was given to send, for its owner alone; never a token."""
    send = f'{{"cmd": "in", "password": "{planted["send"]}"}}'
    poll = f'{{"cmd": "more", "token": "{planted["poll"]}"}}'
    given = ("--send", send, "--poll", poll, "--token-env", "ATTIC_TOKEN", "--yes", "--bare")
    drafted = world.folder / "ohmvigil" / "127-0-0-1.toml"
    world.run(
        "learn",
        f"{address}?a={planted['learn-query']}",
        "--listen",
        "4",
        "--prove",
        "2",
        *given,
        code=None,
    )
    drafts = [p for p in drafted.parent.glob("*.toml") if p not in world.inputs]
    assert drafts
    assert all(mode_of(path) == 0o600 for path in drafts)
    assert planted["send"] in drafts[0].read_text()
    assert planted["token-variable"] not in drafts[0].read_text()
    world.inputs |= set(drafts)


def _other(world: World, address: str, planted: dict[str, str]) -> None:
    file = world.put("token.txt", planted["token-file"])
    text = OTHER.format(address=address, file=file, **planted)
    world.put("ohmvigil/other.toml", text)
    world.run("record", "other", "--for", "2", "-o", str(world.folder / "other.ohmv"))
    world.run("report", str(world.folder / "other.ohmv"), "-o", str(world.folder / "o.md"))


def _refused(world: World, address: str, planted: dict[str, str]) -> None:
    """Lines of what cannot be used."""
    nowhere = "ws://127.0.0.1:9/feed"
    world.run("record", f"{nowhere}?token={planted['unreachable-query']}", code=2)
    same = f"{address}?x={planted['twice-query']}"
    world.run("record", same, same, code=2)
    world.run("watch", f"ws://me:{planted['user-part']}@127.0.0.1/feed", code=2)
    world.run("watch", f"ws://me:{planted['user-part']}/?@127.0.0.1/feed", code=2)
    world.run("learn", f"ws://me:{planted['user-part']}@127.0.0.1/feed", code=2)
    wrong = f"mqtt://me:{planted['wrong-scheme-user']}@h/?t={planted['wrong-scheme-query']}"
    for command in ("watch", "record", "learn"):
        world.run(command, wrong, code=2)
    world.run("watch", f"me:{planted['no-profile']}@attic.example", code=2)
    world.run("learn", address, "--token-env", f"{planted['variable-name']} it", code=2)
    world.run("watch", address, "--sent", f'{{"pwd": "{planted["wrong-option"]}"}}', code=2)
    world.run("record", address, "--notify", f"mailto:me:{planted['notify']}@x", code=2)
    world.run("watch", f"{address}?x={planted['twice-query']}", code=2)
    text = PROFILE.format(address=address, **planted).replace('password": ', 'password" ')
    bad = world.put("bad.toml", text.replace(planted["request-named"], planted["schema-request"]))
    world.run("watch", str(bad), code=2)
    loose = world.put("loose.toml", PROFILE.format(address=address, **planted), 0o644)
    line = world.run("watch", str(loose), "--check", code=2)
    assert "chmod 600" in line
    assert "${token}" in line


def test_a_profile_that_holds_no_secret_may_be_read_by_others(tmp_path: Path) -> None:
    """Only what may be secret needs mode 0600."""
    from client.profile import load_profile

    path = tmp_path / "open.toml"
    path.write_text(
        'format = 1\naddresses = ["ws://127.0.0.1/feed"]\n[token]\nenv = "T"\n[channels.bed]\n'
    )
    path.chmod(0o644)
    assert load_profile(path).token is not None
