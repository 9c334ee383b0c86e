"""`ohmvigil watch PROFILE --check`, and the proof at the end of `learn`."""

import time
from collections.abc import Iterable, Iterator

from client.plan import NULL
from client.profile import Profile
from client.proof import Proof, ReadingProof
from client.values import UNSENT
from shared.absent import UNREAD
from shared.clock import own_time
from shared.text import clean
from shared.when import short
from tui.output import say

SECONDS = 10.0
AGREES_S = 0.5
"""Difference of wall clocks that may as well be the way's delay."""
LONG_S = 120.0
"""How long a watch must be before drift is told in parts per million."""


def run_check(profile: Profile, title: str, seconds: float = SECONDS) -> int:
    """Watch for a while and say what the profile gives. 0: it gave values; 1: it gave none."""
    from client.reader import Link, Reader

    proof = Proof(profile)
    reader = Reader(profile)
    say(f"{title}: watching for {seconds:g} s")
    end = time.monotonic() + seconds
    reader.start()
    try:
        while (left := end - time.monotonic()) > 0.0:
            reader.wait(min(left, 0.25))
            for entry in reader.take():
                proof.feed(entry)
            if reader.link.state is Link.ENDED:
                break
        link = reader.link
    finally:
        reader.stop()
    if reader.fatal is not None:
        raise reader.fatal
    if link.state is not Link.OPEN:
        say(f"the link is {link.state}: {link.why or 'not open yet'}")
    for line in check_lines(proof, reader.dropped):
        say(line)
    return 0 if any(reading.count for reading in proof.readings()) else 1


def check_lines(proof: Proof, dropped: int = 0, timed: bool = True) -> Iterator[str]:
    """What a proof found, as lines. `timed`: whether own times were really measured."""
    readings = proof.readings()
    gave = [reading for reading in readings if reading.count]
    never = [reading for reading in readings if not reading.count]
    rate = f", {proof.updates / max(proof.seconds, 1e-9):.1f} a second" if timed else ""
    yield f"{proof.messages} messages, {proof.updates} with readings{rate}"
    yield from _table(gave)
    yield from _reasons(gave)
    yield from _absences(readings)
    yield from _word_lines(proof)
    if never:
        yield "never gave a value: " + ", ".join(_named(reading) for reading in never)
        yield from _reasons(never)
        if any(not reading.refused and not reading.none for reading in never):
            yield "  (a host that sends only changes may not have had one to send)"
    if timed:
        yield from _time_lines(proof)
    frames = {word: n for word, n in proof.refused.items() if "." not in word}
    if frames:
        yield "not taken: " + ", ".join(f"{n} × {clean(word)}" for word, n in frames.items())
    if dropped:
        yield f"dropped unread: {dropped}"


def _table(readings: Iterable[ReadingProof]) -> Iterator[str]:
    rows = [(reading.key, reading.count, reading.last, reading.refused) for reading in readings]
    width = max((len(key) for key, *_ in rows), default=0)
    for key, count, last, refused in rows:
        value = f"{last:.6g}" if isinstance(last, float) else clean(str(last), 40)
        more = f"   refused {refused}" if refused else ""
        yield f"  {key:<{width}}  {count:>6} ×   last {value}{more}"


def _word_lines(proof: Proof) -> Iterator[str]:
    """State words without a meaning, and the line of the profile that would give one."""
    for word in proof.unknown_states:
        yield f"the host says '{word}', which the profile gives no meaning: not taken for up"
        yield (
            f'  add to words of [channels.host.state]: "{word}" = "up" '
            '(or "starting", "halted", "gone")'
        )


def _reasons(readings: Iterable[ReadingProof]) -> Iterator[str]:
    """Why values were refused."""
    for reading in readings:
        if reading.refused:
            yield f"  {reading.key} refused {reading.refused}: {reading.why}"


def _absences(readings: Iterable[ReadingProof]) -> Iterator[str]:
    """Where the host said that there is no value, and what to write if it means another thing."""
    for reading in readings:
        if reading.none and not reading.word.startswith(UNREAD):
            yield f"  {reading.key} none {reading.none} ×: the host says '{reading.word}' there"
            if reading.word == NULL and reading.count:
                yield f'    if that means unchanged: words = {{ {NULL} = "{UNSENT}" }}'


def _named(reading: ReadingProof) -> str:
    return reading.key + (f" (refused {reading.refused})" if reading.refused else "")


def _time_lines(proof: Proof) -> Iterator[str]:
    found = proof.time(time.time() - own_time())
    if not found.has_clock:
        yield "clock: none; arrival times are used, which are coarser"
        return
    if not found.was_told:
        yield "clock: nothing ever stood there; arrival times are used, which are coarser"
        return
    if found.moments < 3:
        yield "clock: too few updates to judge it"
        return
    run = ""
    if found.slope is not None:
        # A few seconds with some milliseconds of jitter cannot tell parts per million.
        if proof.seconds >= LONG_S:
            run = f"runs {(found.slope - 1.0) * 1e6:+.0f} ppm against ours"
        else:
            run = f"keeps our pace within {max(abs(found.slope - 1.0), 0.001):.1%}"
        if abs(found.slope - 1.0) > 0.05:
            run = f"runs {found.slope:.4g} times as fast as ours: check clock_unit"
    jumps = f", {found.jumps} jumps" if found.jumps else ""
    yield (
        f"clock: {run}{jumps}; delay beyond the quickest {found.delay_median_s * 1e3:.0f} ms "
        f"median, {found.delay_99_s * 1e3:.0f} ms at most in 99 of 100"
    )
    if found.ahead_s is not None:
        yield _wall_line(found.ahead_s)


def _wall_line(ahead_s: float) -> str:
    """How the host's wall clock stands to ours; a network's delay cannot be told from it."""
    if abs(ahead_s) < AGREES_S:
        return f"wall clock: agrees with ours within {AGREES_S:g} s"
    far = f"{abs(ahead_s):.1f} s" if abs(ahead_s) < 300.0 else short(abs(ahead_s))
    way = "ahead of" if ahead_s > 0.0 else "behind"
    return f"wall clock: {far} {way} ours; notes and other logs will differ by that"
