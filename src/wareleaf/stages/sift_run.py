"""A load over a stack of sieves: what stays on each deck is a grade."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from wareleaf import leaf
from wareleaf.measure import require
from wareleaf.stages.common import Array, StageResult, cite, finite, relative_closure
from wareleaf.stages.learn import Learned, carry
from wareleaf.stages.sift_size import FIGURES, PARTITIONS, Feed, partition


@dataclass(frozen=True)
class Deck:
    """One sieve.

    Parameters
    ----------
    grade : str
        Name of what stays on it.
    aperture_mm : float
        Opening.
    """

    grade: str
    aperture_mm: float


@dataclass(frozen=True)
class SieveStack:
    """Sieves from coarse to fine, and the pan.

    Parameters
    ----------
    decks : tuple of Deck
        Coarsest first.
    pan_grade : str
        Name of what passes all.
    model : str
        ``whiten`` or ``reid_plitt``.
    sharpness : float or None
        Whiten's alpha or Reid-Plitt's exponent; the figure in ``data/sift.csv`` when None.
    cut_ratio : float
        Cut size over aperture.
    feed_kg_h : float
        Pace.
    motor_kw : float
        Drive and extraction fan.
    dust_below_mm, dust_lift : float
        The extraction takes this share of what is finer than this size, before the sieves.
    """

    decks: tuple[Deck, ...]
    pan_grade: str = "dust"
    model: str = "whiten"
    sharpness: float | None = None
    cut_ratio: float = FIGURES["all.cut_ratio"].value
    feed_kg_h: float = 500.0
    motor_kw: float = 2.2
    dust_below_mm: float = 0.1
    dust_lift: float = 0.3

    def __post_init__(self) -> None:
        """Refuse a stack that cannot be."""
        require(len(self.decks) > 0, "decks", 0, "decks is empty; a stack needs a sieve.")
        apertures = [d.aperture_mm for d in self.decks]
        for a in apertures:
            finite("aperture_mm", a, 0.0, 200.0, "mm", above=True)
        require(
            all(a > b for a, b in itertools.pairwise(apertures)),
            "aperture_mm",
            apertures,
            f"aperture_mm runs {apertures}; give the coarsest sieve first, each finer than the "
            "one before.",
        )
        names = [d.grade for d in self.decks] + [self.pan_grade]
        require(
            len(set(names)) == len(names) and all(names),
            "grade",
            names,
            f"grade names are {names}; each needs its own name.",
        )
        require(
            self.model in PARTITIONS,
            "model",
            self.model,
            f"model is {self.model!r}; it must be whiten or reid_plitt.",
        )
        if self.sharpness is not None:
            finite("sharpness", self.sharpness, 0.0, 100.0, above=True)
        finite("cut_ratio", self.cut_ratio, 0.1, 2.0)
        finite("feed_kg_h", self.feed_kg_h, 0.0, unit="kg/h", above=True)
        finite("motor_kw", self.motor_kw, 0.0, unit="kW")
        finite("dust_below_mm", self.dust_below_mm, 0.0, 5.0, "mm")
        finite("dust_lift", self.dust_lift, 0.0, 1.0)

    @property
    def grades(self) -> tuple[str, ...]:
        """Names, coarsest first, the pan last."""
        return (*(d.grade for d in self.decks), self.pan_grade)

    @property
    def curve_sharpness(self) -> float:
        """The sharpness that is used."""
        if self.sharpness is not None:
            return self.sharpness
        name = "whiten_alpha" if self.model == "whiten" else "reid_plitt_exponent"
        return FIGURES[f"all.{name}"].value


@dataclass(frozen=True)
class SiftRun:
    """Dry leaf to be graded.

    Parameters
    ----------
    leaf_id, mass_kg, moisture_wb, moisture_wb_sd
        Leaf in.
    feed : Feed
        Its sizes.
    leaf_temperature_c : float
        Passed on: sifting does not warm leaf.
    """

    leaf_id: str
    mass_kg: float
    moisture_wb: float
    feed: Feed = field(default_factory=Feed)
    moisture_wb_sd: float = 0.002
    leaf_temperature_c: float = 20.0

    def __post_init__(self) -> None:
        """Refuse a run that cannot be."""
        leaf.profile(self.leaf_id)
        finite("mass_kg", self.mass_kg, 0.0, unit="kg", above=True)
        finite("moisture_wb", self.moisture_wb, 0.0, 0.5)
        finite("moisture_wb_sd", self.moisture_wb_sd, 0.0, 0.2)
        finite("leaf_temperature_c", self.leaf_temperature_c, -20.0, 80.0, "degC")


@dataclass(frozen=True)
class Grade:
    """One grade: mass, dry matter, share of all grades with its spread, and its median size."""

    name: str
    mass_kg: float
    dry_matter_kg: float
    share: float
    share_sd: float
    median_mm: float


@dataclass(frozen=True)
class SiftResult(StageResult):
    """The common fields of a stage, the grades and the dust that the extraction took."""

    mass_residual: float
    grades: tuple[Grade, ...]
    dust_kg: float
    dust_dry_matter_kg: float


def split(stack: SieveStack, feed: Feed) -> tuple[Array, float, Array]:
    """Shares of the feed by grade, the share lifted as dust, and the grades' median sizes, mm."""
    size, share = feed.classes()
    lifted = share * stack.dust_lift * (size < stack.dust_below_mm)
    left = share - lifted
    parts = []
    for deck in stack.decks:
        relative = size / (deck.aperture_mm * stack.cut_ratio)
        stays = left * partition(stack.model, relative, stack.curve_sharpness)
        parts.append(stays)
        left = left - stays
    parts.append(left)
    medians = [_median(size, p) for p in parts]
    return np.array([math.fsum(p) for p in parts]), math.fsum(lifted), np.array(medians)


def _median(size: Array, mass: Array) -> float:
    total = float(np.sum(mass))
    if total <= 0.0:
        return math.nan
    return float(np.interp(0.5, np.cumsum(mass) / total, size))


def prior_spread() -> Array:
    """Spread of ln(median) and ln(width) between lots."""
    return np.array([FIGURES[f"all.{n}_log_sd"].value for n in ("median", "spread")])


def moved(feed: Feed, factors: Array) -> Feed:
    """Feed with its median and width moved by their logarithms."""
    size, spread = (math.exp(float(x)) for x in factors[:2])
    return Feed(feed.kind, feed.size_mm * size, feed.spread * spread)


def simulate(stack: SieveStack, run: SiftRun) -> SiftResult:
    """Grade a load; the masses of grades and dust add up to the load.

    Leaf keeps its moisture and temperature; all drive power ends in the room's air, so the energy
    balance is that of leaf alone.

    Parameters
    ----------
    stack : SieveStack
        The sieves.
    run : SiftRun
        The leaf.
    """
    shares, lifted, medians = split(stack, run.feed)
    sd = prior_spread()
    known = Learned(np.zeros(2), np.diag(sd**2), sd, 0.0)
    _, spread = carry(lambda f: split(stack, moved(run.feed, f))[0], known)
    dry = 1.0 - run.moisture_wb
    grades = tuple(
        Grade(n, run.mass_kg * s, run.mass_kg * s * dry, s, float(d), float(m))
        for n, s, d, m in zip(stack.grades, shares.tolist(), spread, medians, strict=True)
    )
    out = math.fsum(g.mass_kg for g in grades)
    dust = run.mass_kg * lifted
    hours = run.mass_kg / stack.feed_kg_h
    solid = leaf.profile(run.leaf_id).specific_heat_dry_j_kg_k
    heat_in = run.mass_kg * (dry * solid + run.moisture_wb * 4186.0) * run.leaf_temperature_c
    heat_out = (out + dust) / run.mass_kg * heat_in
    return SiftResult(
        duration_h=hours,
        mass_in_kg=run.mass_kg,
        mass_out_kg=out,
        dry_matter_kg=out * dry,
        moisture_wb_out=run.moisture_wb,
        moisture_wb_out_sd=run.moisture_wb_sd,
        water_removed_kg=0.0,
        heat_kwh=0.0,
        electricity_kwh=stack.motor_kw * hours,
        fuel_kg=0.0,
        water_residual=relative_closure(
            run.mass_kg * run.moisture_wb, (out + dust) * run.moisture_wb, run.mass_kg
        ),
        energy_residual=relative_closure(heat_in, heat_out, heat_in),
        mass_residual=relative_closure(run.mass_kg, out + dust, run.mass_kg),
        leaf_temperature_max_c=run.leaf_temperature_c,
        grades=grades,
        dust_kg=dust,
        dust_dry_matter_kg=dust * dry,
        warnings=_warnings(run, lifted),
        sources=(
            *cite(f for k, f in FIGURES.items() if not k.startswith("iso_")),
            "Thevathasan (1989), thesis, University of Peradeniya (abstract read): each size class "
            "passes in proportion to its feed.",
        ),
    )


def _warnings(run: SiftRun, lifted: float) -> tuple[str, ...]:
    said = ["Sharpness of the sieves is an own assumption; weigh the grades of one lot and fit."]
    if lifted > 0.01:
        said.append(
            f"{100 * lifted:.1f} % of the load leaves as dust: clean up, no sparks, keep the "
            "extraction running."
        )
    low = leaf.profile(run.leaf_id).moisture_wb_overdried
    if run.moisture_wb < low:
        said.append(f"Leaf below {100 * low:.1f} % moisture breaks and dusts more than this says.")
    return tuple(said)


def whole_grams(masses_kg: Sequence[float], total_g: int) -> tuple[int, ...]:
    """Whole grams that add up to exactly the given total (largest remainder).

    Parameters
    ----------
    masses_kg : sequence of float
        Masses, at least one above 0.
    total_g : int
        What they must add up to.
    """
    mass = np.asarray(masses_kg, float)
    require(
        bool(np.all(mass >= 0.0)) and float(np.sum(mass)) > 0.0 and total_g >= 0,
        "masses_kg",
        list(masses_kg),
        "masses_kg must be 0 or more with at least one above 0, and total_g 0 or more.",
    )
    exact = mass / np.sum(mass) * total_g
    grams = np.floor(exact).astype(int)
    short = total_g - int(grams.sum())
    for index in np.argsort(grams - exact, kind="stable")[:short]:
        grams[index] += 1
    return tuple(int(g) for g in grams)
