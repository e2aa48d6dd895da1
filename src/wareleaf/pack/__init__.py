"""Pack: days until packed leaf takes up too much water, and whether packs hold what they say."""

from wareleaf.pack.contents import Climate, Desiccant, Pack, desiccant_units
from wareleaf.pack.fill import FillCheck, FillTarget, check_fill, target_fill
from wareleaf.pack.fill_rules import plan_for, tolerable_deficiency
from wareleaf.pack.films import (
    Film,
    film,
    film_ids,
    permeance_g_m2_day_pa,
    wvtr_g_m2_day,
)
from wareleaf.pack.isotherm import PackIsotherm, linear, of_leaf, of_model, of_points
from wareleaf.pack.shelf_life import ShelfLife, closed_form_days, shelf_life

__all__ = [
    "Climate",
    "Desiccant",
    "FillCheck",
    "FillTarget",
    "Film",
    "Pack",
    "PackIsotherm",
    "ShelfLife",
    "check_fill",
    "closed_form_days",
    "desiccant_units",
    "film",
    "film_ids",
    "linear",
    "of_leaf",
    "of_model",
    "of_points",
    "permeance_g_m2_day_pa",
    "plan_for",
    "shelf_life",
    "target_fill",
    "tolerable_deficiency",
    "wvtr_g_m2_day",
]
