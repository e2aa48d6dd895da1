"""Sifting: dry broken leaf over a stack of sieves becomes grades, and a little dust is drawn off.

Sizes follow a log-normal or Rosin-Rammler law; each deck holds back a size by its partition curve.
Masses of grades and dust add up to the load. Left out: breakage on the sieves, shape (stalk and
fibre), blinding through the day, and moisture taken up from the room.
"""

from __future__ import annotations

from wareleaf.stages.sift_aim import SiftProjection, aim, project
from wareleaf.stages.sift_run import (
    Deck,
    Grade,
    SieveStack,
    SiftResult,
    SiftRun,
    simulate,
    split,
    whole_grams,
)
from wareleaf.stages.sift_size import (
    Feed,
    fit_rosin_rammler,
    logistic_oversize,
    nearest_standard_mm,
    overall_efficiency,
    reid_plitt_oversize,
    rosin_rammler_retained,
    standard_apertures_mm,
    surface_mean_mm,
    whiten_oversize,
)

__all__ = [
    "Deck",
    "Feed",
    "Grade",
    "SieveStack",
    "SiftProjection",
    "SiftResult",
    "SiftRun",
    "aim",
    "fit_rosin_rammler",
    "logistic_oversize",
    "nearest_standard_mm",
    "overall_efficiency",
    "project",
    "reid_plitt_oversize",
    "rosin_rammler_retained",
    "simulate",
    "split",
    "standard_apertures_mm",
    "surface_mean_mm",
    "whiten_oversize",
    "whole_grams",
]
