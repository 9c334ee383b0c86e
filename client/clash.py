"""Why a value was refused, and what to write in the profile."""

from client.form import Reading
from client.units import DIMENSION_OF, DIMENSIONS, UNITS
from client.values import said_in
from shared.text import clean

_MOST = 40


def clash(quantity: str, reading: Reading, said: str) -> str:
    """What stands against a value that was refused, and what to do, in one line."""
    shown = f"the host says '{clean(said, _MOST)}'"
    measured = DIMENSION_OF.get(quantity, "")
    found = said_in(said)
    if said in ("an object", "an array"):
        return f"{said} stands there: point further into it"
    if not measured and quantity != "code":
        return f"{shown}, which cannot be {quantity}: check the pointer"
    if said in ("True", "False"):
        return f'{shown}: write words = {{ true = "1", false = "0" }} if it means on and off'
    if found is None:
        word = clean(said, _MOST) or "…"
        return f'{shown}, which is no number: words = {{ "{word}" = "0" }} if it means off'
    if not found.unit:
        if measured and not reading.unit:
            units = ", ".join(unit for unit, each in DIMENSIONS.items() if each == measured)
            return f"{shown}, a number as text: say its unit, one of {units}"
        return f"{shown}, which is too large or no number here: check the pointer"
    if not measured:
        return f"{shown}, and a {quantity} has no unit: check the pointer"
    other = DIMENSIONS[found.unit]
    if other != measured:
        return f"{shown}, a {other}, and {quantity} is a {measured}: check the pointer"
    has = f'unit = "{reading.unit}"' if reading.unit in UNITS and reading.unit else "no unit"
    return f'{shown}, and the profile has {has}: write unit = "{found.unit}"'
