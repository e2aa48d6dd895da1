"""What is wrong in the demo's history, and where: the only place that says so.

Nothing in the book names these; `wareleaf.works.watch` must find them from the numbers. Days are
counted back from the demo day, loads from the first of their day.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Faults:
    """Positions of the planted faults; None leaves one out.

    Parameters
    ----------
    weigh_error : (int, int) or None
        Days ago and load of a kelp intake whose tare was typed wrong.
    weigh_error_share : float
        By how much the booked net is too high.
    drift_from : int or None
        Days ago on which the kelp works' quick moisture meter begins to drift.
    drift_per_day : float
        Wet-basis moisture a day, fraction.
    under_dried : (int, int) or None
        Days ago and load of a kelp lot that went through the belt too fast.
    under_dried_share : float
        Of the belt time that it needed.
    high_iodine : (int, int) or None
        Days ago and load of a kelp lot that was in the bath too short a time.
    high_iodine_s : float
        Seconds it got.
    short_pack : int or None
        Days ago of a kelp pack run that was set too low.
    short_pack_share : float
        By how much the mean of its packs is below the nominal.
    bad_split : int or None
        Days ago of a kelp split whose parts do not add up.
    bad_split_share : float
        Of the lot, what is missing.
    """

    weigh_error: tuple[int, int] | None = None
    weigh_error_share: float = 0.25
    drift_from: int | None = None
    drift_per_day: float = 0.004
    under_dried: tuple[int, int] | None = None
    under_dried_share: float = 0.80
    high_iodine: tuple[int, int] | None = None
    high_iodine_s: float = 50.0
    short_pack: int | None = None
    short_pack_share: float = 0.012
    bad_split: int | None = None
    bad_split_share: float = 0.07


NONE = Faults()
PLANTED = Faults(
    weigh_error=(17, 0),
    drift_from=9,
    under_dried=(8, 0),
    high_iodine=(20, 0),
    short_pack=3,
    bad_split=11,
)
