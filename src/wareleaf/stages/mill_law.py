"""Work of size reduction: the laws of Bond, Rittinger and Kick."""

from __future__ import annotations

import math

from wareleaf.measure import require
from wareleaf.stages.common import finite

LAWS = ("bond", "rittinger", "kick")


def bond_kwh_t(work_index_kwh_t: float, feed_um: float, product_um: float) -> float:
    """Work of size reduction by Bond's law, kWh per tonne.

    ``E = 10 Wi (1/sqrt(P80) - 1/sqrt(F80))`` with 80 % passing sizes in micrometres; the work
    index is from infinite size to 100 um (Geankoplis 3rd ed., eq. 14.5-4 in other units).
    """
    return 10.0 * work_index_kwh_t * (1.0 / math.sqrt(product_um) - 1.0 / math.sqrt(feed_um))


def rittinger_kj_kg(constant_kj_um_kg: float, feed_um: float, product_um: float) -> float:
    """Work by Rittinger's law, ``E = K (1/L2 - 1/L1)`` (new surface), kJ/kg."""
    return constant_kj_um_kg * (1.0 / product_um - 1.0 / feed_um)


def kick_kj_kg(constant_kj_kg: float, feed_um: float, product_um: float) -> float:
    """Work by Kick's law, ``E = K ln(L1/L2)`` (size ratio), kJ/kg."""
    return constant_kj_kg * math.log(feed_um / product_um)


def constant_from(law: str, work_kj_kg: float, feed_um: float, product_um: float) -> float:
    """Constant of a law from one measured reduction.

    Parameters
    ----------
    law : str
        ``bond`` (gives the work index, kWh/t), ``rittinger`` or ``kick``.
    work_kj_kg : float
        Measured work, kJ/kg.
    feed_um, product_um : float
        Sizes before and after.
    """
    check_sizes(feed_um, product_um)
    finite("work_kj_kg", work_kj_kg, 0.0, unit="kJ/kg", above=True)
    return work_kj_kg / work_of(law, 1.0, feed_um, product_um)


def work_of(law: str, constant: float, feed_um: float, product_um: float) -> float:
    """Work by the named law, kJ/kg."""
    if law == "bond":
        return 3.6 * bond_kwh_t(constant, feed_um, product_um)
    if law == "rittinger":
        return rittinger_kj_kg(constant, feed_um, product_um)
    require(law == "kick", "law", law, f"law is {law!r}; it must be one of {', '.join(LAWS)}.")
    return kick_kj_kg(constant, feed_um, product_um)


def check_sizes(feed_um: float, product_um: float) -> None:
    """Refuse sizes that are not a reduction."""
    finite("feed_um", feed_um, 0.0, 1e6, "um", above=True)
    finite("product_um", product_um, 0.0, 1e6, "um", above=True)
    require(
        product_um < feed_um,
        "product_um",
        product_um,
        f"product_um is {product_um:g}; it must be finer than feed_um ({feed_um:g}).",
    )
