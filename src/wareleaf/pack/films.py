"""Water vapour through a packing film: units, test states, and the films we have figures for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from wareleaf.air import saturation_pressure_pa
from wareleaf.measure import BadInput, Evidence, read_figures, read_sources, require

ROOM = "wareleaf.pack"
MIL_UM = 25.4  # one thousandth of an inch, exact
HUNDRED_IN2_M2 = 100.0 * 0.0254**2  # exact
TEST_TEMPERATURE_C = 38.0
TEST_HUMIDITY_DIFFERENCE = 0.90


@dataclass(frozen=True)
class Film:
    """A film or laminate with the range of its water vapour transmission rate.

    Parameters
    ----------
    id : str
        Key in ``data/films.csv``.
    wvtr_low_g_m2_day, wvtr_high_g_m2_day : float
        At 38 degC and 90 % relative humidity on one side, dry on the other.
    thickness_um : float or None
        That the range holds for; None where the laminate is sold as it is.
    evidence : Evidence
        How well it is known.
    source, note : str
        For people.
    """

    id: str
    wvtr_low_g_m2_day: float
    wvtr_high_g_m2_day: float
    thickness_um: float | None
    evidence: Evidence
    source: str
    note: str

    @property
    def wvtr_g_m2_day(self) -> float:
        """Middle of the range."""
        return 0.5 * (self.wvtr_low_g_m2_day + self.wvtr_high_g_m2_day)

    @property
    def relative_standard_uncertainty(self) -> float:
        """Of the middle: the range taken as rectangular (JCGM 100:2008, 4.3.7)."""
        half = 0.5 * (self.wvtr_high_g_m2_day - self.wvtr_low_g_m2_day)
        return half / math.sqrt(3.0) / self.wvtr_g_m2_day


def wvtr_g_m2_day(permeability_g_mil_100in2_day: float, thickness_um: float) -> float:
    """Transmission rate of a film from a permeability in the units of American tables.

    Parameters
    ----------
    permeability_g_mil_100in2_day : float
        Grams times mil per 100 square inches and day, at the state of the table.
    thickness_um : float
        Of the film, above 0.

    Returns
    -------
    float
        g/(m2 day) at the same state (definitions of mil and inch; 15.5 for one mil).

    Raises
    ------
    BadInput
        When the thickness is not above 0.
    """
    require(
        thickness_um > 0.0,
        "thickness_um",
        thickness_um,
        f"thickness_um is {thickness_um}; it must be above 0.",
    )
    return permeability_g_mil_100in2_day / HUNDRED_IN2_M2 * MIL_UM / thickness_um


def permeance_g_m2_day_pa(
    wvtr: float, temperature_c: float, relative_humidity_difference: float
) -> float:
    """Permeance of a film from its transmission rate and the state it was measured at.

    Parameters
    ----------
    wvtr : float
        g/(m2 day).
    temperature_c : float
        Of the test.
    relative_humidity_difference : float
        Between the two sides, above 0 up to 1.

    Returns
    -------
    float
        g/(m2 day Pa), ``WVTR / (dRH p_sat(T))`` (definition of permeance).

    Raises
    ------
    BadInput
        When the difference is outside its range or the rate is below 0.
    """
    require(
        0.0 < relative_humidity_difference <= 1.0,
        "relative_humidity_difference",
        relative_humidity_difference,
        f"relative_humidity_difference is {relative_humidity_difference:g}; it must be above 0 "
        "and at most 1.",
    )
    require(
        math.isfinite(wvtr) and wvtr >= 0.0,
        "wvtr_g_m2_day",
        wvtr,
        f"wvtr_g_m2_day is {wvtr}; it must be a finite number of 0 or more.",
    )
    return wvtr / (relative_humidity_difference * float(saturation_pressure_pa(temperature_c)))


@cache
def film_ids() -> tuple[str, ...]:
    """Films with a figure, in table order."""
    names = (
        f.subject
        for f in read_figures(ROOM, "films")
        if f.quantity.startswith(("wvtr_", "permeability_"))
    )
    return tuple(dict.fromkeys(names))


def film(film_id: str, thickness_um: float | None = None) -> Film:
    """A film by its id.

    Parameters
    ----------
    film_id : str
        See `film_ids`.
    thickness_um : float, optional
        For a plain polymer, 25.4 by default; laminates are taken as they are sold.

    Returns
    -------
    Film
        With its range.

    Raises
    ------
    BadInput
        For an unknown film, or a thickness given for a laminate.
    """
    if film_id not in film_ids():
        known = ", ".join(film_ids())
        raise BadInput("film", film_id, f"film is {film_id!r}; known films are {known}.")
    figures = [f for f in read_figures(ROOM, "films") if f.subject == film_id]
    plain = figures[0].quantity.startswith("permeability_")
    require(
        plain or thickness_um is None,
        "thickness_um",
        thickness_um,
        f"{film_id} is a laminate of given build; leave thickness_um out.",
    )
    thickness = (thickness_um or MIL_UM) if plain else None
    low, high = sorted(wvtr_g_m2_day(f.value, thickness) if thickness else f.value for f in figures)
    return Film(
        id=film_id,
        wvtr_low_g_m2_day=low,
        wvtr_high_g_m2_day=high,
        thickness_um=thickness,
        evidence=figures[0].evidence,
        source=read_sources(ROOM)[figures[0].source].cite(),
        note=figures[0].note,
    )
