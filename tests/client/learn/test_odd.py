"""Learning on strange hosts by hand, each right in all that it says, by its machine's truth."""

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from client.learn import TextLink, answers_in, learn, profile_text
from client.profile import load_profile
from tests.client.learn.odd import later, more, nameless, numbers, shapes, untold
from tests.client.learn.odd.host import OddHost
from tests.client.learn.odd.score import faults
from tests.client.learn.ways import carried
from tests.levels import one_in

HOSTS = {
    make().name: make
    for module in (numbers, shapes, more, untold, later, nameless)
    for make in module.HOSTS
}


def faults_of(host: OddHost, folder: Path) -> list[str]:
    """What is not right when the profile that is drafted reads the host's messages again."""
    sent, machines = host.run()
    entries, cut = carried(sent, host.way, random.Random(host.name))
    assert [entry.payload for entry in entries] == [entry.payload for entry in sent]
    assert cut is None or cut.is_like(host.way.cut)
    answers = answers_in(host.given("--call"), host.given("--word"))
    draft = learn(entries, host.sent(), answers=answers)
    path = folder / "odd.toml"
    path.write_text(profile_text(draft, TextLink(addresses=("tcp://[::1]:9",))), encoding="utf-8")
    return faults(host, load_profile(path), entries, machines)


@pytest.mark.parametrize("make", one_in(4, HOSTS.values()), ids=HOSTS)
def test_a_strange_host_is_learnt_right(make: Callable[[], OddHost], tmp_path: Path) -> None:
    """Every reading that it must have was there, was true each time, and its clock was found."""
    assert faults_of(make(), tmp_path) == []
