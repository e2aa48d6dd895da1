"""A leaf profile: everything the works needs to know of one kind of leaf, each number sourced.

A profile is built from figures (value, source, evidence) and checked. `leaf.catalogue` holds the
profiles that ship and lets a works replace figures by its own measurements.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from wareleaf.leaf.holding import Patience
from wareleaf.leaf.models import MODELS, check_parameters
from wareleaf.measure import BadInput, Figure, require

BRANCHES = ("adsorption", "desorption")
REGIMES = ("dry", "wither")
SALT_MOST = 0.6  # of dry matter; salted blades included (own bound)

# Every plain figure a profile must have, with the least and the greatest value that make sense.
BOUNDS: dict[str, tuple[float, float]] = {
    "moisture_wb_fresh": (0.3, 0.97),
    "moisture_wb_target": (0.005, 0.5),
    "moisture_wb_store_limit": (0.01, 0.5),
    "moisture_wb_overdried": (0.001, 0.5),
    "water_activity_store_limit": (0.05, 0.85),
    "leaf_temperature_max_c": (20.0, 150.0),
    "specific_heat_dry_j_kg_k": (500.0, 2500.0),
    "bulk_density_kg_m3": (10.0, 1200.0),
    "specific_surface_m2_kg": (0.1, 200.0),
    "half_thickness_m": (1e-5, 0.02),
    "critical_moisture_db": (0.0, 20.0),
    "hold_cold_c": (-2.0, 20.0),
    "hold_warm_c": (5.0, 40.0),
    "hold_cold_h": (0.1, 2000.0),
    "hold_warm_h": (0.1, 2000.0),
    "spoil_cold_h": (0.1, 5000.0),
    "spoil_warm_h": (0.1, 5000.0),
    "hold_q10": (1.0, 10.0),
    "salt_nacl_fraction": (0.0, 0.45),
    "salt_kcl_fraction": (0.0, 0.45),
    "sorption_temperature_min_c": (-10.0, 60.0),
    "sorption_temperature_max_c": (0.0, 160.0),
    "sorption_water_activity_min": (0.0, 0.5),
    "sorption_water_activity_max": (0.5, 1.0),
    "sorption_shift_per_k": (0.0, 0.1),
    "heat_least_moisture_db": (1e-3, 0.3),
    "dry.rate_per_h": (1e-3, 1e3),
    "dry.reference_c": (0.0, 200.0),
    "dry.reference_velocity_m_s": (0.01, 20.0),
    "dry.activation_j_mol": (0.0, 1e5),
    "dry.velocity_power": (0.0, 1.0),
    "dry.plateau_c": (20.0, 300.0),
    "dry.relative_sd": (0.0, 1.0),
    "wither.rate_per_h": (1e-3, 1e3),
    "wither.reference_c": (0.0, 60.0),
    "wither.reference_velocity_m_s": (0.01, 20.0),
    "wither.activation_j_mol": (0.0, 1e5),
    "wither.velocity_power": (0.0, 1.0),
    "wither.plateau_c": (20.0, 300.0),
    "wither.relative_sd": (0.0, 1.0),
}


@dataclass(frozen=True)
class BranchModel:
    """The isotherm of one branch: a model of `leaf.models` with its constants."""

    model: str
    parameters: tuple[tuple[str, float], ...]

    def keywords(self) -> dict[str, float]:
        """Constants as keyword arguments."""
        return dict(self.parameters)


@dataclass(frozen=True)
class RateLaw:
    """Constants of k = k_ref exp(-(Ea/R)(1/T - 1/T_ref)) (v/v_ref)^power, T held at a plateau."""

    rate_per_h: float
    reference_c: float
    reference_velocity_m_s: float
    activation_j_mol: float
    velocity_power: float
    plateau_c: float
    relative_sd: float


@dataclass(frozen=True)
class LeafProfile:
    """One kind of leaf as it arrives and as it is made; build it with `profile` or `build`.

    Moisture names end in their basis; fractions are 0 to 1; ``specific_surface_m2_kg`` and
    ``specific_heat_dry_j_kg_k`` are per kg dry matter. ``salt_*_fraction`` is the dissolving salt
    in kg per kg dry matter. ``figures`` holds every constant with its source and evidence.
    """

    id: str
    name: str
    crop: str
    description: str
    moisture_wb_fresh: float
    moisture_wb_target: float
    moisture_wb_store_limit: float
    moisture_wb_overdried: float
    water_activity_store_limit: float
    leaf_temperature_max_c: float
    specific_heat_dry_j_kg_k: float
    bulk_density_kg_m3: float
    specific_surface_m2_kg: float
    half_thickness_m: float
    critical_moisture_db: float
    salt_nacl_fraction: float
    salt_kcl_fraction: float
    sorption_temperature_min_c: float
    sorption_temperature_max_c: float
    sorption_water_activity_min: float
    sorption_water_activity_max: float
    sorption_shift_per_k: float
    heat_least_moisture_db: float
    adsorption: BranchModel
    desorption: BranchModel
    dry: RateLaw
    wither: RateLaw
    patience: Patience
    figures: tuple[Figure, ...] = field(repr=False, hash=False)

    def hold_hours(self, temperature_c: float) -> float:
        """Hours the leaf may wait at a leaf temperature before it loses value."""
        return self.patience.hold_hours(temperature_c)

    def spoil_hours(self, temperature_c: float) -> float:
        """Hours of waiting at a leaf temperature after which the leaf is lost."""
        return self.patience.spoil_hours(temperature_c)

    def branch_model(self, branch: str) -> BranchModel:
        """The isotherm of ``adsorption`` or ``desorption``."""
        require(
            branch in BRANCHES,
            "branch",
            branch,
            f"branch is {branch!r}; it must be adsorption or desorption.",
        )
        return self.adsorption if branch == "adsorption" else self.desorption

    def figure(self, quantity: str) -> Figure:
        """One figure by its quantity."""
        for row in self.figures:
            if row.quantity == quantity:
                return row
        raise BadInput(
            "quantity", quantity, f"The leaf profile {self.id} has no figure {quantity!r}."
        )


def build(
    leaf_id: str, name: str, crop: str, description: str, figures: Iterable[Figure]
) -> LeafProfile:
    """Build a profile from its figures and check it.

    Parameters
    ----------
    figures : iterable of Figure
        One row a constant: the quantities of `BOUNDS`, and for each branch the constants of one
        model as ``BRANCH.MODEL.CONSTANT`` (for example ``adsorption.gab.k``). Other quantities
        are kept for show.

    Raises
    ------
    BadInput
        A constant is missing, doubled, out of bounds, or the moistures are out of order.
    """
    rows = tuple(figures)
    value: dict[str, float] = {}
    for row in rows:
        require(
            row.quantity not in value,
            row.quantity,
            row.value,
            f"{row.quantity} stands twice in the profile {leaf_id}.",
        )
        value[row.quantity] = row.value
    _check_bounds(leaf_id, value)
    plain = {q: value[q] for q in BOUNDS if q in LeafProfile.__dataclass_fields__}
    patience = Patience(
        cold_c=value["hold_cold_c"],
        warm_c=value["hold_warm_c"],
        hold_cold_h=value["hold_cold_h"],
        hold_warm_h=value["hold_warm_h"],
        spoil_cold_h=value["spoil_cold_h"],
        spoil_warm_h=value["spoil_warm_h"],
        q10=value["hold_q10"],
    )
    return LeafProfile(
        id=leaf_id,
        name=name,
        crop=crop,
        description=description,
        **plain,
        adsorption=_branch("adsorption", value),
        desorption=_branch("desorption", value),
        dry=_rate_law("dry", value),
        wither=_rate_law("wither", value),
        patience=patience,
        figures=rows,
    )


def _check_bounds(leaf_id: str, value: Mapping[str, float]) -> None:
    for quantity, (low, high) in BOUNDS.items():
        require(
            quantity in value,
            quantity,
            None,
            f"{quantity} is missing from the leaf profile {leaf_id}; it must have one.",
        )
        number = value[quantity]
        require(
            math.isfinite(number) and low <= number <= high,
            quantity,
            number,
            f"{quantity} is {number:g} in the leaf profile {leaf_id}; "
            f"it must be from {low:g} to {high:g}.",
        )
    order = ("overdried", "target", "store_limit", "fresh")
    for dryer, wetter in pairwise(order):
        a, b = value[f"moisture_wb_{dryer}"], value[f"moisture_wb_{wetter}"]
        require(
            a < b,
            f"moisture_wb_{dryer}",
            a,
            f"moisture_wb_{dryer} is {a:g}; it must be below moisture_wb_{wetter} ({b:g}).",
        )
    salt = value["salt_nacl_fraction"] + value["salt_kcl_fraction"]
    require(
        salt <= SALT_MOST,
        "salt_kcl_fraction",
        value["salt_kcl_fraction"],
        f"salt_nacl_fraction and salt_kcl_fraction make {salt:g} together; "
        f"dissolving salt can be at most {SALT_MOST:g} of the dry matter.",
    )
    for warm in ("hold_warm_h", "spoil_warm_h"):
        cold = warm.replace("warm", "cold")
        require(
            value[warm] <= value[cold],
            warm,
            value[warm],
            f"{warm} is {value[warm]:g}; warm leaf cannot wait longer than cold ({cold} is "
            f"{value[cold]:g}).",
        )


def _branch(branch: str, value: Mapping[str, float]) -> BranchModel:
    rows = [q.split(".") for q in value if q.startswith(f"{branch}.")]
    models = sorted({r[1] for r in rows})
    require(
        len(models) == 1,
        branch,
        models,
        f"{branch} needs the constants of exactly one model of {list(MODELS)}; it has {models}.",
    )
    model = models[0]
    parameters = {r[2]: value[".".join(r)] for r in rows}
    checked = check_parameters(model, parameters)
    return BranchModel(model, tuple(sorted(checked.items())))


def _rate_law(regime: str, value: Mapping[str, float]) -> RateLaw:
    return RateLaw(**{f: value[f"{regime}.{f}"] for f in RateLaw.__dataclass_fields__})
