"""The isotherms by name, with the constants each one takes and what makes them nonsense."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from wareleaf.leaf import isotherms
from wareleaf.leaf._arrays import Number
from wareleaf.measure import require


@dataclass(frozen=True)
class Isotherm:
    """One sorption model: its two functions and the names of its constants."""

    name: str
    moisture_db: Callable[..., Number]
    water_activity: Callable[..., Number]
    required: tuple[str, ...]
    optional: tuple[str, ...] = ()
    source: str = "asae_d245"


_ABC = ("a", "b", "c")
MODELS: dict[str, Isotherm] = {
    m.name: m
    for m in (
        Isotherm(
            "gab",
            isotherms.gab_moisture_db,
            isotherms.gab_water_activity,
            ("monolayer_db", "c", "k"),
            ("heat_monolayer_j_mol", "heat_c_j_mol", "heat_k_j_mol", "reference_c"),
            "scirep_2025",
        ),
        Isotherm(
            "modified_oswin",
            isotherms.modified_oswin_moisture_db,
            isotherms.modified_oswin_water_activity,
            _ABC,
        ),
        Isotherm(
            "modified_halsey",
            isotherms.modified_halsey_moisture_db,
            isotherms.modified_halsey_water_activity,
            _ABC,
        ),
        Isotherm(
            "modified_henderson",
            isotherms.modified_henderson_moisture_db,
            isotherms.modified_henderson_water_activity,
            _ABC,
        ),
        Isotherm(
            "modified_chung_pfost",
            isotherms.modified_chung_pfost_moisture_db,
            isotherms.modified_chung_pfost_water_activity,
            _ABC,
        ),
        Isotherm(
            "peleg",
            isotherms.peleg_moisture_db,
            isotherms.peleg_water_activity,
            ("c1", "c2", "c3", "c4"),
            ("heat_scale_j_mol", "heat_exponent_j_mol", "reference_c"),
            "scirep_2025",
        ),
    )
}

_ABOVE_ZERO = {
    "gab": ("monolayer_db", "c", "k"),
    "modified_oswin": ("c",),
    "modified_halsey": ("c",),
    "modified_henderson": ("a", "b"),
    "modified_chung_pfost": ("a", "b"),
    "peleg": ("c1", "c2", "c4"),
}


def check_parameters(model: str, parameters: Mapping[str, float]) -> dict[str, float]:
    """Refuse an unknown model, missing or foreign constants and signs that make no isotherm.

    Returns
    -------
    dict
        The constants, as keyword arguments of the model's functions.

    Raises
    ------
    BadInput
        Naming the constant.
    """
    require(
        model in MODELS, "model", model, f"model is {model!r}; it must be one of {list(MODELS)}."
    )
    known = MODELS[model]
    for name in known.required:
        require(
            name in parameters,
            f"parameters.{name}",
            None,
            f"parameters.{name} is missing; {model} needs {', '.join(known.required)}.",
        )
    for name, value in parameters.items():
        require(
            name in known.required + known.optional,
            f"parameters.{name}",
            value,
            f"parameters.{name} is not a constant of {model}; it takes "
            f"{', '.join(known.required + known.optional)}.",
        )
        require(
            bool(np.isfinite(value)) and (name not in _ABOVE_ZERO[model] or value > 0.0),
            f"parameters.{name}",
            value,
            f"parameters.{name} is {value:g}; {model} needs a finite number"
            f"{' above 0' if name in _ABOVE_ZERO[model] else ''}.",
        )
    require(
        model != "peleg" or parameters["c3"] >= 0.0,
        "parameters.c3",
        parameters.get("c3"),
        "parameters.c3 must be 0 or more, or the Peleg isotherm would fall.",
    )
    return dict(parameters)


def parameters_from_percent(model: str, parameters: Mapping[str, float]) -> dict[str, float]:
    """Convert constants published for moisture in percent dry basis to kg/kg (derived, exact)."""
    p = dict(parameters)
    if model == "gab":
        p["monolayer_db"] /= 100.0
    elif model == "peleg":
        p["c1"], p["c3"] = p["c1"] / 100.0, p["c3"] / 100.0
    elif model == "modified_oswin":
        p["a"], p["b"] = p["a"] / 100.0, p["b"] / 100.0
    elif model == "modified_halsey":
        p["a"] -= p["c"] * float(np.log(100.0))
    elif model == "modified_henderson":
        p["a"] *= 100.0 ** p["b"]
    elif model == "modified_chung_pfost":
        p["b"] *= 100.0
    return p
