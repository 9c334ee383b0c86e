"""Fuzz the sans-I/O core under atheris (libFuzzer), bounded by messages and seconds.

    python -m tests.fuzz.fuzz_client --messages 1000000 --seconds 120

First good messages spoilt at random, which is fast: a million of them. Then atheris, which
follows coverage and is slow, for the seconds given (`pip install -e '.[fuzz]'`; without it,
the run says so and ends). Each part ends with what it did and how memory went.
"""

import argparse
import importlib.util
import os
import random
import resource
import sys
import time

SEEDS = [
    b'\x01\x07{"jsonrpc":"2.0","id":1,"result":{"t":1.5,"p":1,"a":{"t":300,"g":1,"p":0.5,"c":99}}}\n',
    b'\x03\x20{"method":"n","params":[{"a":{"f":33},"l":[{"n":"b","t":2},[3,4]]},2.5]}\x17',
    b'\x02\x10\x1e{"w":"a","d":{"t":"301 K"}}\n',
    b'\x00\x00{"w":"a","d":{"t":"300 K"},"m":"sensor 1 off","s":"r"}',
    b'\x04\x05\x00\x00\x00\x0b{"s":"h"   }\x00\x00\x00\x02[]',
]


class Run:
    """Counts messages and stops at a bound. The core is renewed now and then, as hosts are."""

    def __init__(self, messages: int, seconds: float) -> None:
        from tests.fuzz.inputs import Core

        self._new = Core
        self.core = Core()
        self.done = self.runs = 0
        self._messages, self._end = messages, time.monotonic() + seconds
        self._start, self._memory = time.monotonic(), 0

    def one(self, data: bytes) -> None:
        before = self.core.messages
        self.core.take(data, self.runs * 0.01)
        self.done += self.core.messages - before
        self.runs += 1
        if self.runs == 2000:
            self._memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        if self.runs % 200_000 == 0:
            self.core = self._new()

    @property
    def is_over(self) -> bool:
        return self.done >= self._messages or time.monotonic() > self._end

    def report(self, how: str) -> None:
        grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - self._memory
        spent = time.monotonic() - self._start
        print(
            f"{how}: {self.done:,} messages in {self.runs:,} runs, {spent:.0f} s, no failure; "
            f"memory grew by {grown / 1024:.1f} MiB after the first 2,000 runs"
        )


def mutated(rng: random.Random) -> bytes:
    """A good message with a few bytes changed, doubled or cut."""
    data = bytearray(rng.choice(SEEDS))
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(data)) if data else 0
        kind = rng.randrange(4)
        if kind == 0 and data:
            data[at] = rng.randrange(256)
        elif kind == 1:
            data[at:at] = bytes(rng.randrange(256) for _ in range(rng.randint(1, 8)))
        elif kind == 2:
            del data[at : at + rng.randint(1, 6)]
        else:
            data[at:at] = data[at : at + rng.randint(1, 30)]
    return bytes(data)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--messages", type=int, default=1_000_000)
    options.add_argument("--seconds", type=float, default=120.0)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--guided", action="store_true", help="only the part by atheris")
    given = options.parse_args()
    if given.guided:
        _instrumented(given)
        return
    run, rng = Run(given.messages, 3600.0), random.Random(given.seed)
    while not run.is_over:
        run.one(mutated(rng))
    run.report("spoilt at random")
    if importlib.util.find_spec("atheris") is None:
        print("atheris is not installed: nothing more is tried")
        return
    # Modules are instrumented when they are imported, so this needs a fresh process.
    sys.stdout.flush()
    again = ["-m", "tests.fuzz.fuzz_client", "--guided"]
    bounds = [f"--seconds={given.seconds}", f"--seed={given.seed}"]
    os.execv(sys.executable, [sys.executable, *again, *bounds])


def _instrumented(given: argparse.Namespace) -> None:
    import atheris

    with atheris.instrument_imports(include=["client", "shared"]):
        import tests.fuzz.inputs  # noqa: F401

    run, rng = Run(1 << 60, given.seconds), random.Random(given.seed)

    def bounded(data: bytes) -> None:
        run.one(data)
        if run.runs % 64 == 0 and run.is_over:
            run.report("guided by coverage")
            sys.stdout.flush()
            os._exit(0)

    def either(data: bytes, max_size: int, seed: int) -> bytes:
        """libFuzzer's own mutation, or now and then a fresh start from a good message."""
        if seed % 4 == 0:
            return mutated(rng)[:max_size]
        return bytes(atheris.Mutate(data, len(data)))

    atheris.Setup(
        [sys.argv[0], f"-seed={given.seed}", "-max_len=2048", "-verbosity=0"],
        bounded,
        custom_mutator=either,
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main()
