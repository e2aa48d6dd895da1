"""How the outlet of a dryer scatters: by its own lots, or by the model where there are few."""

from __future__ import annotations

from dataclasses import dataclass

from wareleaf import leaf as leaves
from wareleaf.stages import adviser_outlet, dry
from wareleaf.works.dryer_outlets import ENOUGH, Outlets

PARTS = {
    "moisture_wb": "moisture of the feed",
    "loading": "load on the dryer",
    "ambient_c": "temperature outside",
    "ambient_rh": "humidity outside",
    "inlet_c": "inlet air",
    "rate": "the lot's own rate",
}


@dataclass(frozen=True)
class OutletSpread:
    """How the outlet scatters.

    Parameters
    ----------
    mean_wb, sd_wb : float
        Of the lots, or the leaf's target and the model's forecast.
    lots : int or None
        Lots it is from; None where it is the forecast.
    parts : dict of str to float
        Standard deviations by cause.
    strays_wb : tuple of float
        Lots far from the others, left out or not.
    words : str
        One sentence.
    """

    mean_wb: float
    sd_wb: float
    lots: int | None
    parts: dict[str, float]
    strays_wb: tuple[float, ...]
    words: str


def outlet_spread(
    leaf_id: str, made: Outlets, forecast: dry.Spread, without_strays: bool
) -> OutletSpread:
    """The spread of the lots where there are enough, else the forecast; its parts by the model."""
    strays = adviser_outlet.strays(made.outlet_wb)
    kept = [m for m in made.outlet_wb if not (without_strays and m in strays)]
    mean, sd, lots = leaves.profile(leaf_id).moisture_wb_target, forecast.sd, None
    words = (
        f"The book has {len(kept)} such lots and it takes {ENOUGH}; so the spread is the model's "
        "forecast of a usual charge"
    )
    if len(kept) >= ENOUGH:
        found = adviser_outlet.seen(kept)
        mean, sd, lots = found.mean_wb, found.sd_wb, found.lots
        words = f"Spread of {lots} lots of the last year, as measured, with the meter's own scatter"
    return OutletSpread(
        mean_wb=mean,
        sd_wb=sd,
        lots=lots,
        parts=adviser_outlet.split(sd, {PARTS[n]: s for n, s in forecast.shares.items()}),
        strays_wb=strays,
        words=f"{words}: {100.0 * sd:.2f} points (one standard deviation).",
    )
