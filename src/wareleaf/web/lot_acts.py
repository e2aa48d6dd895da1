"""What can be done with a lot beyond the daily handling: grade, cool, rework, destroy."""

from __future__ import annotations

from wareleaf.web.forms import Entered
from wareleaf.works.cool import cool
from wareleaf.works.destroy import destroy
from wareleaf.works.house import Works
from wareleaf.works.judge import grade
from wareleaf.works.rework import INTO, Part, rework

FORMS = [(form, form) for form in INTO if form != "refuse"]


def _grade(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    lot = grade(
        works,
        who,
        lot_id,
        form.get("grade"),
        form.get("grade_by"),
        document=form.get("document"),
        note=form.get("note"),
    )
    return lot_id, f"{lot_id} is graded {lot.attributes['grade']}."


def _cool(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    at_c = form.number("temperature_c", "Temperature")
    began, until = form.time("began", "From"), form.time("until", "Until")
    form.check()
    method = form.get("cool_method")
    cool(
        works,
        who,
        [lot_id],
        method,
        at_c,
        began=began,
        until=until,
        place=form.get("cool_place"),
        document=form.get("document"),
    )
    return lot_id, f"{lot_id}: {method} at {at_c:g} °C is in the book."


def _rework(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    taken = form.maybe("taken_kg", "Taken")
    came = form.number("came_kg", "What came of it")
    waste = form.maybe("waste_kg", "Thrown away") or 0.0
    form.check()
    (made,) = rework(
        works,
        who,
        {lot_id: taken},
        [Part(came, form.get("rework_into"), form.get("rework_place") or "floor")],
        form.get("because"),
        waste_kg=waste,
        document=form.get("document"),
    )
    return made.lot_id, f"Reworked into {made.lot_id}: write that on it."


def _destroy(works: Works, who: str, lot_id: str, form: Entered) -> tuple[str, str]:
    mass_kg = form.maybe("mass_kg", "Weight")
    form.check()
    event = destroy(
        works,
        who,
        lot_id,
        mass_kg,
        method=form.get("method"),
        witness=form.get("witness"),
        document=form.get("document"),
        reason=form.get("reason"),
    )
    return lot_id, f"{event.inputs[0].mass_g / 1000.0:g} kg of {lot_id} destroyed."


ACTS = {"grade": _grade, "cool": _cool, "rework": _rework, "destroy": _destroy}
