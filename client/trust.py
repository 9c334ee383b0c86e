"""What a profile will send of its user's secrets, where to, and whether that was agreed to.

A profile may come from a stranger and name any variable or file. What it will do is said in a
line before it is done. Over a link that anyone on the way can read (`ws://` and `tcp://` to
another machine) nothing secret goes until the user has agreed; that is remembered by a hash of
the profile's content, so that a changed profile is a new one.
"""

import hashlib
import ipaddress
import os
from contextlib import suppress
from pathlib import Path

import msgspec

from client.address import Address, parse_address
from client.form import Profile
from client.profile import config_folder
from shared.errors import BadInput
from shared.secrets import PLACE, is_plain_prefix, secrets_in_query, secrets_in_request
from shared.text import clean

AGREE = "give --trust once if that is meant, or use wss:// or a tunnel"


def sent(profile: Profile, address: Address) -> list[str]:
    """The secrets that go to an address, named by where they are kept."""
    found = []
    token = profile.token
    in_requests = any(PLACE in text for text in profile.sent)
    in_query = PLACE in address.query
    if token is not None and (address.scheme in ("ws", "wss") or in_requests):
        found.append(" or ".join([*([f"${token.env}"] if token.env else []), *_file(token.file)]))
        if not is_plain_prefix(token.prefix):
            found.append("the token's prefix")
    if not in_query and any(secrets_in_query(f"?{address.query}")):
        found.append("the address's query")
    if any(True for text in profile.sent for _ in secrets_in_request(text)):
        found.append("what its requests hold")
    return found


def _file(path: str) -> list[str]:
    return [f"the file {clean(path, 400)}"] if path else []


def lines(profile: Profile) -> list[str]:
    """What will be sent where, a line for each address; none where nothing is secret."""
    told = []
    for address in map(parse_address, profile.addresses):
        secrets = sent(profile, address)
        if secrets:
            open_way = ", which anyone on the way can read" if is_open_way(address) else ""
            told.append(f"sends {' and '.join(secrets)} to {address.shown}{open_way}")
    return told


def is_open_way(address: Address) -> bool:
    """Whether others can read what goes there: neither encrypted nor inside this machine."""
    if address.scheme not in ("ws", "tcp"):
        return False
    if address.host.lower() == "localhost":
        return False
    try:
        return not ipaddress.ip_address(address.host).is_loopback
    except ValueError:
        return True


def check(profile: Profile, address: Address) -> None:
    """BadInput before a secret goes an open way that was not agreed to."""
    secrets = sent(profile, address) if is_open_way(address) else []
    if secrets and not is_trusted(profile):
        what = f"would send {' and '.join(secrets)} where anyone on the way can read it"
        raise BadInput(address.shown, what, AGREE)


def must_be_asked(profile: Profile) -> bool:
    """Whether a link of this profile would be refused for want of trust."""
    addresses = map(parse_address, profile.addresses)
    is_risky = any(is_open_way(each) and sent(profile, each) for each in addresses)
    return is_risky and not is_trusted(profile)


def is_trusted(profile: Profile) -> bool:
    with suppress(OSError, UnicodeError):
        return _hash(profile) in _file_of_trust().read_text(encoding="ascii").split()
    return False


def trust(profile: Profile) -> None:
    """Remember that the user agrees to this profile as it stands. Raises BadInput."""
    if is_trusted(profile):
        return
    path = _file_of_trust()
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_NOFOLLOW
        with os.fdopen(os.open(path, flags, 0o600), "w", encoding="ascii") as file:
            os.fchmod(file.fileno(), 0o600)
            file.write(_hash(profile) + "\n")
    except OSError as error:
        what = f"what is trusted cannot be kept ({(error.strerror or 'unknown').lower()})"
        raise BadInput(str(path), what, "make the folder writable") from None


def _file_of_trust() -> Path:
    return config_folder() / "trusted"


def _hash(profile: Profile) -> str:
    return hashlib.sha256(msgspec.json.encode(profile, order="deterministic")).hexdigest()
