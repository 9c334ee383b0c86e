"""Certificates and tokens: where they are kept, and what is refused."""

import os
import ssl
import stat
from pathlib import Path

from client.form import Profile, Token
from client.transport import reason
from shared.errors import BadInput

MAX_TOKEN = 8192


def tls_context(profile: Profile) -> ssl.SSLContext:
    """Certificate and name checks on; a private authority, where given, alone is trusted."""
    if not profile.ca_file:
        return ssl.create_default_context()
    path = Path(profile.ca_file).expanduser()
    try:
        return ssl.create_default_context(cafile=path)
    except (OSError, ssl.SSLError):
        raise BadInput(
            str(path), "no certificates can be read from it", "give a PEM file"
        ) from None


def secret(token: Token) -> str:
    """The token itself, from the environment or a file that only its owner may read."""
    value = os.environ.get(token.env, "").strip() if token.env else ""
    if not value and token.file:
        value = _secret_file(Path(token.file).expanduser())
    if not value:
        raise BadInput(f"${token.env}", "the token is not set", "set the variable to the token")
    if not value.isascii() or not value.isprintable() or len(value) > MAX_TOKEN:
        where = f"${token.env}" if token.env else token.file
        raise BadInput(where, "holds no token", "give printable ASCII on one line")
    return value


def _secret_file(path: Path) -> str:
    try:
        with path.open(encoding="ascii") as file:
            mode = stat.S_IMODE(os.fstat(file.fileno()).st_mode)
            if mode & 0o077:
                do = f"run chmod 600 {path}"
                raise BadInput(str(path), f"others may read the token (mode {mode:04o})", do)
            return file.read(MAX_TOKEN + 1).strip()
    except UnicodeError:
        raise BadInput(str(path), "holds no token", "give printable ASCII on one line") from None
    except OSError as error:
        raise BadInput(str(path), reason(error), "give a readable file with the token") from None
