"""The catalogue of checks. Names are stable: notes and recordings keep them."""

from detectors.diagnosis.checkform import CheckForm, Scene
from detectors.diagnosis.checks_link import LINK
from detectors.diagnosis.checks_system import HEAT, SETTINGS, SYSTEM
from detectors.diagnosis.checks_wiring import NOISE, WIRING
from shared.errors import BadInput

CATALOGUE = {form.name: form for form in (*WIRING, *NOISE, *SETTINGS, *HEAT, *SYSTEM, *LINK)}
"""Every check by its name."""


def fitting(scene: Scene) -> list[CheckForm]:
    """The checks that may be proposed, in the words of the chain."""
    return [form.told(scene.chain) for form in CATALOGUE.values() if form.fits(scene)]


def change_form(check: str) -> CheckForm:
    """The check of this name that changes the machine; BadInput where there is none."""
    form = CATALOGUE.get(check)
    if form is None or not form.changes:
        known = ", ".join(form.name for form in CATALOGUE.values() if form.changes)
        raise BadInput(f"check '{check}'", "no check of this name changes anything", f"use {known}")
    return form


def form_of(check: str, outcome: str) -> CheckForm:
    """The check of this name; BadInput where there is none, or it has no such outcome."""
    form = CATALOGUE.get(check)
    if form is None:
        known = ", ".join(sorted(CATALOGUE))
        raise BadInput(f"check '{check}'", "there is no such check", f"use one of {known}")
    if form.place(outcome) is None:
        known = ", ".join(each.name for each in form.outcomes)
        raise BadInput(f"check '{check}'", f"no outcome '{outcome}'", f"use one of {known}")
    return form
