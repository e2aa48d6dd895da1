"""Judge a lot: its grade, by taste, by hand or by the sieve."""

from __future__ import annotations

from datetime import datetime

from wareleaf.book import LotState
from wareleaf.measure.errors import require
from wareleaf.works.house import Works
from wareleaf.works.people import acting
from wareleaf.works.record import Entry, record


def grade(
    works: Works,
    who: str,
    lot_id: str,
    grade_name: str,
    by: str,
    *,
    document: str = "",
    happened_at: datetime | None = None,
    note: str = "",
) -> LotState:
    """Set the grade of a lot; what it was before stays readable in the book.

    Parameters
    ----------
    by : str
        ``taste``, ``hand`` or ``sieve``.

    Raises
    ------
    BadInput
        When nothing is left of the lot, the grade is empty, or the person may not.
    """
    lot = works.book.lot(lot_id)
    acting(works, who, "grade a lot", lot.site)
    require(bool(grade_name.strip()), "grade", grade_name, "grade is empty; say which grade it is.")
    require(lot.remaining_mass_g > 0, "lot_id", lot_id, f"Nothing is left of {lot_id}.")
    facts = {"lot_id": lot_id, "grade": grade_name.strip(), "by": by}
    record(
        works,
        Entry(
            kind="grade",
            site=lot.site,
            who=who,
            place=lot.place,
            why=note,
            document=document,
            happened_at=happened_at,
            facts=facts,
        ),
    )
    return works.book.lot(lot_id)
