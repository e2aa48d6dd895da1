"""What leaf usually holds per kg dry matter, and how widely works, lines and loads differ."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from wareleaf.leaf.catalogue import PACKAGE, profile
from wareleaf.measure import Figure, read_figures

UNITS = {"ash": "%"}
"""Unit of a content on dry matter, where it is not mg/kg."""

_IN_PROFILE = {
    "ash": ("ash_fraction", 100.0),
    "iodine": ("iodine_mg_kg", 1.0),
    "arsenic": ("arsenic_total_mg_kg", 1.0),
    "cadmium": ("cadmium_mg_kg", 1.0),
    "lead": ("lead_mg_kg", 1.0),
    "mercury": ("mercury_mg_kg", 1.0),
}


@dataclass(frozen=True)
class UsualContent:
    """What a leaf usually holds of something, before anything is measured.

    Parameters
    ----------
    mean : float
        In `unit_of` the parameter, on dry matter.
    works_relative_sd, line_relative_sd, lot_relative_sd : float
        How far the usual leaf of a works lies from the mean, that of a line or field from its
        works, and a load from its line; all as shares of the mean.
    source, evidence, note : str
        What the mean rests on.
    """

    mean: float
    works_relative_sd: float
    line_relative_sd: float
    lot_relative_sd: float
    source: str
    evidence: str
    note: str


def unit_of(parameter: str) -> str:
    """Unit in which a content on dry matter is kept: ``mg/kg``, or ``%`` for ash."""
    return UNITS.get(parameter, "mg/kg")


@cache
def _figures() -> dict[tuple[str, str], Figure]:
    return {(f.subject, f.quantity): f for f in read_figures(PACKAGE, "contents")}


def spread(quantity: str) -> float:
    """A row of ``data/contents.csv`` that holds for all leaf, such as ``lot_relative_sd``."""
    return _figures()["all", quantity].value


def known_contents() -> tuple[str, ...]:
    """Parameters that some leaf has a usual content of."""
    own = (q for s, q in _figures() if s != "all" and not q.endswith("_sd"))
    return tuple(dict.fromkeys((*_IN_PROFILE, *own)))


def usual_content(leaf_id: str, parameter: str) -> UsualContent | None:
    """What a leaf usually holds, with its pedigree; None when no figure is known.

    Parameters
    ----------
    leaf_id : str
        A profile that ships.
    parameter : str
        As laboratories name it: ``iodine``, ``cadmium``, ``ash`` ...

    Raises
    ------
    BadInput
        Unknown leaf.
    """
    found, scale = _figures().get((leaf_id, parameter)), 1.0
    if found is None and parameter in _IN_PROFILE:
        quantity, scale = _IN_PROFILE[parameter]
        rows = (f for f in profile(leaf_id).figures if f.quantity == quantity)
        found = next(rows, None)
    if found is None:
        return None
    doubt = f"{parameter}_works_relative_sd"
    own = _figures().get((leaf_id, doubt)) or _figures().get(("all", doubt))
    return UsualContent(
        mean=found.value * scale,
        works_relative_sd=own.value if own else spread("works_relative_sd"),
        line_relative_sd=spread("line_relative_sd"),
        lot_relative_sd=spread("lot_relative_sd"),
        source=found.source,
        evidence=found.evidence.value,
        note=found.note,
    )
