"""`ohmvigil learn`: listens to a host whose names are not known yet and drafts a profile."""

import argparse
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from shared.errors import BadInput
from shared.placing import PRIVATE, place_text
from shared.reading import opened
from shared.secrets import PLACE, public_address, secrets_in_request
from tui.output import say
from tui.record_options import trust_option

if TYPE_CHECKING:
    from client.form import Profile, Request, Token
    from client.learn import Answers, Draft, TextLink
    from shared.updates import Entry

    Drafted = Callable[[Answers], Draft]
    """From answers to the draft of what was heard."""

EXAMPLE = """ohmvigil learn ws://127.0.0.1:9000/feed --send '{"method": "begin"}' --name attic"""
LISTEN_S = 20.0
PROVE_S = 10.0
_FILE_STEP_S = 0.25
"""Lines of a file bear no times of arrival; they are taken to be this far apart."""
SHOWN = 8
"""Numbers that are shown where none of them is a temperature."""
MAX_FILE_BYTES = 64 << 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the command; imports nothing."""
    parser.add_argument(
        "source", metavar="ADDRESS", help="ws:, wss:, tcp:, unix: or a file of captured NDJSON"
    )
    parser.add_argument(
        "--send",
        metavar="REQUEST",
        action="append",
        default=[],
        help="JSON to send after connecting; may be repeated; nothing else is ever sent",
    )
    parser.add_argument(
        "--poll",
        metavar="REQUEST",
        action="append",
        default=[],
        help="the same for a host that speaks only when asked: sent again each --every seconds",
    )
    parser.add_argument("--every", metavar="SECONDS", type=float, default=1.0)
    parser.add_argument(
        "--bare", action="store_true", help="send requests as they stand, not as JSON-RPC"
    )
    parser.add_argument("--listen", metavar="SECONDS", type=float, default=LISTEN_S)
    parser.add_argument("--prove", metavar="SECONDS", type=float, default=PROVE_S)
    parser.add_argument("--yes", action="store_true", help="ask nothing, take what is likeliest")
    parser.add_argument(
        "--call",
        metavar="THEIRS=OURS",
        action="append",
        default=[],
        help="what a channel is called ('A1=nozzle'), or what stands at a path"
        " ('b/3=nozzle.power percent'); '-' leaves it out; may be repeated",
    )
    parser.add_argument(
        "--word",
        metavar="THEIRS=STATE",
        action="append",
        default=[],
        help="what a state word of the host means: up, starting, halted or gone",
    )
    parser.add_argument("-o", "--output", metavar="FILE", help="profile to write")
    parser.add_argument("--name", metavar="NAME", help="save it under this name")
    parser.add_argument("--force", action="store_true", help="write over a profile that is there")
    parser.add_argument(
        "--framing",
        choices=("newline", "sequence", "delimiter", "length", "concatenated"),
        help="of tcp: and unix: (default: recognised from the bytes)",
    )
    parser.add_argument(
        "--delimiter", metavar="BYTE", help="byte that ends a frame, such as 23 or 0x17"
    )
    parser.add_argument("--address", metavar="ADDRESS", help="address to write, for a file")
    parser.add_argument("--token-env", metavar="NAME", help="variable that holds a token")
    parser.add_argument("--token-file", metavar="FILE", help="file (mode 0600) that holds a token")
    parser.add_argument("--token-header", metavar="NAME", help="header for it (Authorization)")
    parser.add_argument("--token-prefix", metavar="TEXT", help="what precedes it ('Bearer ')")
    trust_option(parser)
    parser.add_argument("--ca-file", metavar="FILE", help="private certificate authority, PEM")


def run(options: argparse.Namespace) -> int:
    """Listen, propose, ask, write, prove."""
    from client.learn import answers_in, profile_text
    from client.profile import load_profile
    from client.trust import must_be_asked, trust
    from tui.learn_talk import ask, ask_paths, found_lines

    if not 0.0 <= options.prove <= 86400.0:
        raise BadInput("--prove", f"{options.prove:g} is out of range", "give 0 to 86400 seconds")
    is_live = "://" in options.source or options.source.startswith("unix:")
    target = _target(options)
    answers = answers_in(options.call, options.word)
    heard = _live if is_live else _from_file
    drafted, link, entries = heard(options)
    draft = drafted(answers)
    asks = not options.yes and sys.stdin.isatty() and sys.stdout.isatty()
    while True:
        for line in found_lines(draft):
            say(line)
        more = ask_paths(draft) if asks else None
        if more is None:
            break
        both = answers.and_those(more)
        try:
            draft, answers = drafted(both), both
        except BadInput as bad:
            say(str(bad))
    _check_found(draft, options.source)
    if asks:
        ask(draft)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        place_text(target, profile_text(draft, link), mode=PRIVATE)
    except OSError as error:
        what = (error.strerror or "cannot be written").lower()
        raise BadInput(str(target), what, "name a file with -o") from None
    profile = load_profile(target)
    if is_live and must_be_asked(profile):
        # What was agreed to for listening is the same that this profile does.
        trust(profile)
    say(f"wrote {target}")
    if any(True for text in profile.sent for _ in secrets_in_request(text)):
        do = f"learn again with {PLACE} in --send, and --token-env or --token-file"
        say(f"it holds a secret: {do}")
    named = target.stem if options.output is None else str(target)
    if _prove(profile, entries if not is_live else None, named, options.prove):
        what = "is written, and no reading gave a value through it"
        raise BadInput(str(target), what, "learn again while the host sends, or correct it by hand")
    if is_live:
        say(f"watch it with: ohmvigil watch {named}")
    return 0


def _whole_path(path: str | None) -> str:
    """A file as the profile has to name it: it is read from the profile's folder on."""
    return str(Path(path).expanduser().absolute()) if path else ""


def _target(options: argparse.Namespace) -> Path:
    from client.profile import config_folder

    if options.output is not None:
        path = Path(options.output)
    else:
        name = options.name or _name_from(options.source)
        if "/" in name or name.startswith(".") or name.endswith(".toml") or not name.isprintable():
            raise BadInput("--name", f"'{name}' is no name", "use letters, digits and '-'")
        path = config_folder() / f"{name}.toml"
    if path.exists() and not options.force:
        raise BadInput(str(path), "is there already", "give another --name or -o, or --force")
    return path


def _name_from(source: str) -> str:
    """A profile's name from an address or a file's name."""
    source = public_address(source)
    rest = source.partition("?")[0].partition("://")[2] or source.removeprefix("unix:")
    last = rest.rstrip("/").rpartition("/")[2] if "://" not in source else rest.partition("/")[0]
    kept = "".join(char if char.isalnum() and char.isascii() else "-" for char in last)
    return kept.strip("-").removesuffix("-ndjson")[:40] or "host"


def _requests(options: argparse.Namespace) -> "tuple[Request, ...]":
    """What the user gave to send. A whole JSON-RPC request loses version and id, which
    the profile adds anew on each connection."""
    import msgspec

    from client.form import Request
    from client.plan import ProfileFault, request_of

    requests = []
    for text, every_s in _given(options):
        option = "--send" if every_s is None else "--poll"
        try:
            body = msgspec.json.decode(text)
        except (ValueError, RecursionError):
            raise BadInput(option, "is not JSON", "write JSON as text, in quotes") from None
        envelope = not options.bare and type(body) is dict and type(body.get("method")) is str
        if envelope and "jsonrpc" in body:
            body = {key: body[key] for key in ("method", "params") if key in body}
            text = msgspec.json.encode(body).decode()
        envelope = envelope and not set(body) - {"method", "params"}
        request = Request(json=text, envelope=envelope, every_s=every_s)
        try:
            request_of(request)
        except ProfileFault as fault:
            raise BadInput(option, fault.what, fault.do) from None
        requests.append(request)
    return tuple(requests)


def _given(options: argparse.Namespace) -> Iterator[tuple[str, float | None]]:
    """Requests as text and how often each is sent."""
    if not 0.05 <= options.every <= 86400.0:
        raise BadInput("--every", f"{options.every:g} is out of range", "give 0.05 to 86400 s")
    yield from ((text, None) for text in options.send)
    yield from ((text, options.every) for text in options.poll)


def _delimiter(options: argparse.Namespace) -> int:
    if options.delimiter is None:
        return 0x0A
    try:
        byte = int(options.delimiter, 0)
    except ValueError:
        byte = -1
    if not 0 <= byte <= 255:
        raise BadInput("--delimiter", f"'{options.delimiter}' is no byte", "give 0 to 255")
    return byte


def _live(options: argparse.Namespace) -> "tuple[Drafted, TextLink, None]":
    from client.form import Profile, Token
    from client.framing import Framing
    from client.learn import TextLink, draft_of
    from client.learn.listen import listen
    from client.plan import ProfileFault, plan_of
    from tui.trusting import tell_and_ask

    if not 1.0 <= options.listen <= 86400.0:
        raise BadInput("--listen", f"{options.listen:g} is out of range", "give 1 to 86400 seconds")
    token = None
    if options.token_env or options.token_file:
        given = {
            "env": options.token_env,
            "file": _whole_path(options.token_file),
            "header": options.token_header,
            "prefix": options.token_prefix,
        }
        token = Token(**{key: value for key, value in given.items() if value is not None})
    framing: Framing | None = options.framing
    if framing is None and options.delimiter is not None:
        framing = "delimiter"
    requests = _requests(options)
    if token is not None:
        requests = tuple(_without(token, request) for request in requests)
    profile = Profile(
        format=1,
        addresses=(options.source,),
        framing=framing,
        delimiter=_delimiter(options),
        silence_s=max(60.0, options.listen),
        token=token,
        ca_file=_whole_path(options.ca_file),
        requests=requests,
    )
    try:
        plan_of(profile)
    except ProfileFault as fault:
        raise BadInput(".".join(map(str, fault.key)), fault.what, fault.do) from None
    tell_and_ask([(profile, options.name or "learn")], trusted=options.trust)
    said = [0.0]

    def progress(seconds: float, count: int) -> None:
        if sys.stderr.isatty() and seconds - said[0] >= 0.5:
            said[0] = seconds
            text = f"\rlistening: {seconds:.0f} of {options.listen:g} s, {count} messages "
            print(text, end="", file=sys.stderr, flush=True)

    heard = listen(profile, options.listen, progress)
    if sys.stderr.isatty():
        print("\r" + " " * 60 + "\r", end="", file=sys.stderr, flush=True)

    def drafted(answers: "Answers") -> "Draft":
        draft = draft_of(heard.gatherer, profile.requests, answers=answers)
        draft.ended = heard.ended
        return draft

    link = TextLink(
        title=options.name or "",
        addresses=profile.addresses,
        framing=None if heard.framing == "newline" else heard.framing,
        delimiter=heard.delimiter,
        token=token,
        ca_file=_whole_path(options.ca_file),
    )
    return drafted, link, None


def _without(token: "Token", request: "Request") -> "Request":
    """A request with the token's place where the token itself was given: a profile holds none."""
    import msgspec

    from client.credentials import secret
    from shared.secrets import LEAST_HIDDEN, PLACE

    try:
        value = msgspec.json.encode(secret(token)).decode()[1:-1]
    except BadInput:
        return request
    if len(value) < LEAST_HIDDEN:
        return request
    return msgspec.structs.replace(request, json=request.json.replace(value, PLACE))


def _from_file(options: argparse.Namespace) -> "tuple[Drafted, TextLink, list[Entry]]":
    from client.learn import TextLink, learn
    from shared.updates import Entry, EntryKind

    path = Path(options.source)
    try:
        with opened(path) as file:
            data = file.read(MAX_FILE_BYTES + 1)
    except OSError as error:
        what = (error.strerror or "cannot be read").lower()
        do = "give ws://…, wss://…, tcp://…, unix:… or a file of captured messages"
        raise BadInput(str(path), what, do) from None
    if len(data) > MAX_FILE_BYTES:
        raise BadInput(str(path), "larger than 64 MiB", "cut it: a minute of messages will do")
    lines = [line for line in data.split(b"\n") if line.strip()]
    entries = [
        Entry(n * _FILE_STEP_S, EntryKind.MESSAGE, line.strip()) for n, line in enumerate(lines)
    ]
    requests = _requests(options)
    addresses = (options.address,) if options.address else ()
    link = TextLink(title=options.name or "", addresses=addresses)
    return lambda answers: learn(entries, requests, False, answers), link, entries


def _check_found(draft: "Draft", source: str) -> None:
    """BadInput where nothing was found, with the numbers that were seen."""
    from client.learn.tree import path_of
    from shared.text import clean
    from tui.learn_talk import number_seen

    if any("temperature_c" in channel.parts for channel in draft.channels):
        return
    shown = clean(public_address(source))
    numbers = [one for one in draft.unknown if one.is_number]
    what = f"{draft.messages} messages, but nothing that looks like a temperature"
    if draft.unproven:
        what = f"{draft.messages} messages, but no temperature that a profile could read from them"
    if numbers:
        numbers.sort(key=lambda one: -one.distinct)
        seen = ", ".join(map(number_seen, numbers[:SHOWN]))
        more = f" and {len(numbers) - SHOWN} more" if len(numbers) > SHOWN else ""
        what += f"; numbers seen: {seen}{more}"
    if draft.ended:
        raise BadInput(shown, f"{what}; {clean(draft.ended)}", "see what its manual wants first")
    do = "let it heat and listen longer (--listen), or ask for more with --send"
    if numbers:
        do += f"; or say which is one: --call '{clean(path_of(numbers[0].stands_at))}=nozzle'"
    raise BadInput(shown, what, do)


def _prove(profile: "Profile", entries: "list[Entry] | None", title: str, seconds: float) -> int:
    """Watch through the written profile, or read the file again; 1 if it gave nothing."""
    from client.proof import Proof
    from tui.profilecheck import check_lines, run_check

    if seconds <= 0.0:
        return 0
    if entries is None:
        return run_check(profile, title, seconds)
    proof = Proof(profile)
    for entry in entries:
        proof.feed(entry)
    for line in check_lines(proof, timed=False):
        say(line)
    return 0 if any(reading.count for reading in proof.readings()) else 1
