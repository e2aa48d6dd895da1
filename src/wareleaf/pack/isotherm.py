"""What ties the leaf's moisture to the humidity inside the pack, whatever the model behind it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wareleaf import leaf
from wareleaf.measure import require

TOP = 0.99  # models rise without limit towards 1; packed leaf is far drier


@dataclass(frozen=True)
class PackIsotherm:
    """Water activity from moisture and back, at a temperature.

    Parameters
    ----------
    name : str
        For people.
    water_activity : callable
        ``(moisture_db, temperature_c) -> water activity``.
    moisture_db : callable
        ``(water_activity, temperature_c) -> moisture_db``.
    sources, warnings : tuple of str
        What it rests on.
    """

    name: str
    water_activity: Callable[[float, float], float]
    moisture_db: Callable[[float, float], float]
    sources: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def of_leaf(leaf_id: str) -> PackIsotherm:
    """Isotherm of a leaf profile, adsorption branch: dried leaf that takes water up again.

    Raises
    ------
    BadInput
        For an unknown profile.
    """
    profile = leaf.profile(leaf_id)
    branch = "adsorption"
    return PackIsotherm(
        name=profile.name,
        water_activity=lambda x, t: float(leaf.water_activity(profile, x, t, branch)),
        moisture_db=lambda aw, t: float(
            leaf.equilibrium_moisture_db(profile, min(aw, TOP), t, branch)
        ),
        sources=tuple(leaf.sorption_sources(profile, branch)),
        warnings=(leaf.evidence_sentence(profile, branch),),
    )


def of_model(model: str, parameters: Mapping[str, float]) -> PackIsotherm:
    """Isotherm of a named model of `wareleaf.leaf` with its constants.

    Raises
    ------
    BadInput
        For an unknown model or wrong constants.
    """
    constants = leaf.check_parameters(model, parameters)
    chosen = leaf.MODELS[model]
    return PackIsotherm(
        name=model,
        water_activity=lambda x, t: float(chosen.water_activity(x, t, **constants)),
        moisture_db=lambda aw, t: float(chosen.moisture_db(min(aw, TOP), t, **constants)),
        sources=(leaf.model_source(model),),
    )


def linear(slope: float, intercept: float = 0.0) -> PackIsotherm:
    """Straight isotherm ``X = intercept + slope aw``, as the textbook closed form assumes.

    Raises
    ------
    BadInput
        When the slope is not above 0.
    """
    require(slope > 0.0, "slope", slope, f"slope is {slope}; it must be above 0.")
    return PackIsotherm(
        name="linear",
        water_activity=lambda x, _: min(max((x - intercept) / slope, 0.0), 1.0),
        moisture_db=lambda aw, _: intercept + slope * aw,
    )


def of_points(water_activity: Sequence[float], moisture_db: Sequence[float]) -> PackIsotherm:
    """Isotherm through measured points, straight in between, the same at every temperature.

    Raises
    ------
    BadInput
        Unless there are at least two points and both columns rise.
    """
    aw, x = np.asarray(water_activity, dtype=float), np.asarray(moisture_db, dtype=float)
    require(
        aw.size == x.size and aw.size >= 2,
        "points",
        int(aw.size),
        "points needs at least two pairs of water_activity and moisture_db.",
    )
    rising = bool(np.all(np.diff(aw) > 0.0) and np.all(np.diff(x) > 0.0))
    require(
        rising and aw[0] >= 0.0 and aw[-1] <= 1.0,
        "points",
        aw.tolist(),
        "points must rise in both water_activity (0 to 1) and moisture_db.",
    )
    return PackIsotherm(
        name="points",
        water_activity=lambda v, _: float(np.interp(v, x, aw)),
        moisture_db=lambda v, _: float(np.interp(v, aw, x)),
        warnings=("The points are taken to hold at every temperature.",),
    )
