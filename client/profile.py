"""Profiles by path or by name, and the built-in one for the simulated host."""

import os
from collections.abc import Mapping
from importlib import resources
from pathlib import Path

import msgspec

from client.carried import check_file
from client.form import Channel, Profile
from client.plan import check
from shared import toml
from shared.chain import Chain
from shared.errors import BadInput
from shared.secrets import without_secrets
from shared.text import clean

__all__ = [
    "Profile",
    "built_in_names",
    "config_folder",
    "load_profile",
    "profile_path",
    "saved_names",
    "simulated_profile",
]


def load_profile(path_or_name: str | Path) -> Profile:
    """Read and check a profile, by path or by the name of one in the user's folder.

    A name has no slash and no `.toml`; `built_in_names()` are found as well. BadInput
    names file, line and key.
    """
    path = profile_path(path_or_name)
    return _checked(path)


def profile_path(path_or_name: str | Path) -> Path:
    """File of a profile; BadInput when there is none."""
    text = str(path_or_name)
    if isinstance(path_or_name, Path) or "/" in text or text.endswith(".toml"):
        return Path(path_or_name)
    saved = config_folder() / f"{text}.toml"
    if saved.is_file():
        return saved
    if text in built_in_names():
        return _built_in(text)
    raise BadInput(
        text, f"no profile of this name in {config_folder()}", "give a path or an address"
    )


def config_folder() -> Path:
    """Folder of the user's profiles: $XDG_CONFIG_HOME/ohmvigil, else ~/.config/ohmvigil."""
    home = os.environ.get("XDG_CONFIG_HOME", "")
    base = Path(home) if home.startswith("/") else Path.home() / ".config"
    return base / "ohmvigil"


def saved_names() -> tuple[str, ...]:
    """Names of the profiles in the user's folder, sorted."""
    return tuple(sorted(path.stem for path in config_folder().glob("*.toml")))


def built_in_names() -> tuple[str, ...]:
    return ("simulated",)


def simulated_profile(address: str, chains: Mapping[str, Chain]) -> Profile:
    """The built-in profile of the simulated host, at this address and with these chain facts."""
    profile = _checked(_built_in("simulated"))
    channels = dict(profile.channels)
    for name, chain in chains.items():
        channels[name] = msgspec.structs.replace(channels.get(name, Channel()), chain=chain)
    return msgspec.structs.replace(profile, addresses=(address,), channels=channels)


def _built_in(name: str) -> Path:
    return Path(str(resources.files("client") / "profiles" / f"{name}.toml"))


def _beside(profile: Profile, folder: Path) -> Profile:
    """The profile with its files' paths taken from its own folder."""
    token, ca_file = profile.token, profile.ca_file
    if ca_file:
        ca_file = str(folder / Path(ca_file).expanduser())
    if token is not None and token.file:
        token = msgspec.structs.replace(token, file=str(folder / Path(token.file).expanduser()))
    return msgspec.structs.replace(profile, token=token, ca_file=ca_file)


def _checked(path: Path) -> Profile:
    text = toml.read_text(path)
    profile = toml.loads(text, Profile, str(path))
    check(profile, path)
    check_file(profile, path)
    channels = dict(profile.channels)
    for name, channel in channels.items():
        if channel.chain is not None:
            if channel.chain.told is not None:
                where = toml.place(path, ("channels", name, "chain", "told"))
                raise BadInput(where, "unknown key", "leave it out: the other keys say it")
            told = toml.keys_at(text, ("channels", name, "chain"))
            chain = msgspec.structs.replace(channel.chain, told=told)
            channels[name] = msgspec.structs.replace(channel, chain=chain)
    profile = _beside(profile, path.parent)
    title = clean(without_secrets(profile.title))
    return msgspec.structs.replace(profile, title=title, channels=channels)
