"""What a host says in place of a number: text under `CHANNEL.no_QUANTITY`, in its own word.

    nozzle.no_temperature_c  n/a                      from here on it gives no temperature,
                                                      until a number comes
    nozzle.no_temperature_c  unreadable: an object    nor does what it gives make one

An update without the number says nothing of it: the last one still holds.
"""

from collections.abc import Mapping

from shared.updates import Value
from shared.words import channel_of, is_number_key, quantity_of

_NO = "no_"
UNREAD = "unreadable: "
"""Stands before what is not the host's word for "none", but cannot be read."""


def absent_key(key: str) -> str:
    """The key under which it is told that a number's key has none."""
    return f"{channel_of(key)}.{_NO}{quantity_of(key)}"


def number_key(key: str) -> str | None:
    """The number's key that such a key is about; None for any other key."""
    quantity = quantity_of(key)
    if not quantity.startswith(_NO):
        return None
    number = f"{channel_of(key)}.{quantity.removeprefix(_NO)}"
    return number if is_number_key(number) else None


def hold(held: dict[str, Value], values: Mapping[str, Value]) -> None:
    """Bring what holds up to date: a number ends its absence, and that ends the number."""
    for key, value in values.items():
        number = number_key(key)
        if number is None:
            held.pop(absent_key(key), None)
        elif number in values:
            continue
        else:
            held.pop(number, None)
        held[key] = value
