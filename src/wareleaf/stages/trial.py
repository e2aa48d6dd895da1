"""A works' own trial turned into the constants that no paper gives, with standard errors.

Each stage's model is fitted to what was measured, by the one engine of `leaf.fit`; the constants
come beside those that stand now and their evidence. Here are the laws that stand alone: work of a
mill, cells broken in a roll, the partition of a sieve, the sizes of a feed. Fits through a whole
stage stand in `stages.trial_stage`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wareleaf.leaf.fit import Curve, Fit, fit_curve, ranked
from wareleaf.measure import Figure, require
from wareleaf.stages import mill_law, sift_size
from wareleaf.stages._trial_points import as_long, column, goes
from wareleaf.stages.common import Array, finite, stage_figures
from wareleaf.stages.roll_run import Roller, RollRun, disruption_rate_per_min

# First guesses and bounds of a feed's spread: sd of ln(size), and the Rosin-Rammler exponent.
_SPREADS = {"log_normal": ((0.3, 0.8), (0.01, 3.0)), "rosin_rammler": ((1.0, 2.5), (0.2, 50.0))}


@dataclass(frozen=True)
class Standing:
    """What stands in the house now for a constant: value and how well it is known."""

    value: float
    evidence: str


@dataclass(frozen=True)
class Constant:
    """A fitted constant.

    Parameters
    ----------
    name, unit : str
        As the stage's input calls it.
    value, standard_error : float, float or None
        None where the trial does not determine it.
    standing : Standing or None
        What the house uses without a trial.
    """

    name: str
    unit: str
    value: float
    standard_error: float | None
    standing: Standing | None = None


@dataclass(frozen=True)
class TrialFit:
    """A model fitted to a trial: the fit, its constants, what to do with them, and what to mind."""

    fit: Fit
    constants: tuple[Constant, ...]
    use: str
    said: tuple[str, ...] = ()


def standing(figure: Figure, factor: float = 1.0) -> Standing:
    """A figure of the house as what stands now."""
    return Standing(figure.value * factor, str(figure.evidence))


def scaled(fit: Fit, parameter: str, name: str, unit: str, figure: Figure) -> Constant:
    """A constant that is a fitted multiplier times the figure that stands."""
    error = fit.standard_errors[parameter]
    value = figure.value * fit.parameters[parameter]
    return Constant(
        name, unit, value, None if error is None else error * figure.value, standing(figure)
    )


def plain(fit: Fit, name: str, unit: str = "1", now: Standing | None = None) -> Constant:
    """A fitted constant as it is."""
    return Constant(name, unit, fit.parameters[name], fit.standard_errors[name], now)


def fit_mill(
    feed_um: Sequence[float],
    product_um: Sequence[float],
    work_kj_kg: Sequence[float],
    laws: Sequence[str] = mill_law.LAWS,
) -> list[TrialFit]:
    """Constant of each law of size reduction from metered work, best law first.

    Parameters
    ----------
    feed_um, product_um : sequence of float
        80 % passing sizes before and after, micrometres; the product finer.
    work_kj_kg : sequence of float
        Shaft work less idle, kJ/kg.
    laws : sequence of str
        ``bond``, ``rittinger``, ``kick``. They tell apart only when sizes differ much.
    """
    as_long("feed_um", {"product_um": product_um, "work_kj_kg": work_kj_kg}, len(feed_um))
    for before, after in zip(feed_um, product_um, strict=True):
        mill_law.check_sizes(before, after)
    work = column("work_kj_kg", work_kj_kg, 0.0, 1e5, "kJ/kg")
    unit = {"bond": "kWh/t", "rittinger": "kJ um/kg", "kick": "kJ/kg"}
    index = stage_figures("mill")["all.work_index_kwh_t"]
    found = []
    for law in laws:
        shape = np.array(
            [mill_law.work_of(law, 1.0, a, b) for a, b in zip(feed_um, product_um, strict=True)]
        )
        start = float(shape @ work / (shape @ shape))
        fit = fit_curve(law, _times(shape), work, ("constant",), [[start]], field="work_kj_kg")
        now = standing(index) if law == "bond" else None
        use = f"Set law to {law} and constant to this value on the mill."
        found.append(TrialFit(fit, (plain(fit, "constant", unit[law], now),), use))
    return in_order(found)


def _times(shape: Array) -> Curve:
    return lambda p: p[0] * shape


def fit_roll(
    roller: Roller,
    run: RollRun,
    minutes: Sequence[float],
    disruption: Sequence[float],
    pressure_kpa: Sequence[float] | None = None,
) -> list[TrialFit]:
    """Rate at which a roll breaks cells, from counted samples.

    Parameters
    ----------
    roller, run : Roller, RollRun
        Machine and leaf; ``run.disruption`` is the share broken before the roll.
    minutes, disruption : sequence of float
        Minutes in the roll and share of broken cells, 0 to 1.
    pressure_kpa : sequence of float, optional
        Of each sample; ``run.pressure_kpa`` for all when None.
    """
    pressure = [run.pressure_kpa] * len(minutes) if pressure_kpa is None else list(pressure_kpa)
    as_long("minutes", {"disruption": disruption, "pressure_kpa": pressure}, len(minutes))
    time = column("minutes", minutes, 0.0, 600.0, "min")
    broken = column("disruption", disruption, 0.0, 1.0)
    rate = np.array(
        [
            disruption_rate_per_min(roller, replace(run, pressure_kpa=p, rate_factor=1.0))
            for p in column("pressure_kpa", pressure, 0.0, 1e5, "kPa").tolist()
        ]
    )
    goes("disruption", rate * time, broken, 1, "a roll only breaks cells")

    def curve(p: Array) -> Array:
        return 1.0 - (1.0 - run.disruption) * np.exp(-p[0] * rate * time)

    fit = fit_curve(
        "first_order",
        curve,
        broken,
        ("rate_factor",),
        [[f] for f in (0.1, 0.3, 1.0, 3.0, 10.0)],
        lower={"rate_factor": 0.0},
        field="disruption",
    )
    figure = stage_figures("oxidise")[f"{roller.style}.disruption_rate_per_min"]
    constants = (
        plain(fit, "rate_factor", "1", Standing(1.0, str(figure.evidence))),
        scaled(fit, "rate_factor", "disruption_rate_per_min", "1/min", figure),
    )
    return [TrialFit(fit, constants, "Put rate_factor under the roller's settings.")]


def fit_sieve(
    size_mm: Sequence[float],
    share_staying: Sequence[float],
    aperture_mm: float,
    models: Sequence[str] = sift_size.PARTITIONS,
) -> list[TrialFit]:
    """Cut and sharpness of a sieve from the share of each size that stays on it.

    Parameters
    ----------
    size_mm, share_staying : sequence of float
        Middle of each size class and the share of it that stayed on the sieve.
    aperture_mm : float
        Of the sieve.
    models : sequence of str
        ``whiten``, ``reid_plitt``.
    """
    finite("aperture_mm", aperture_mm, 0.0, 1000.0, "mm", above=True)
    as_long("size_mm", {"share_staying": share_staying}, len(size_mm))
    size = column("size_mm", size_mm, 0.0, 1000.0, "mm", ends=False)
    share = column("share_staying", share_staying, 0.0, 1.0)
    goes("share_staying", size, share, 1, "more of the coarse stays on a sieve")
    figures = stage_figures("sift")
    sharp = {"whiten": "all.whiten_alpha", "reid_plitt": "all.reid_plitt_exponent"}
    found = []
    for model in models:
        require(
            model in sift_size.PARTITIONS,
            "models",
            model,
            f"models holds {model!r}; there are {', '.join(sift_size.PARTITIONS)}.",
        )
        fit = fit_curve(
            model,
            _partition(model, size / aperture_mm),
            share,
            ("cut_ratio", "sharpness"),
            [[c, s] for c in (0.6, 0.9, 1.2) for s in (2.0, 5.0, 12.0)],
            lower={"cut_ratio": 0.05, "sharpness": 0.2},
            upper={"cut_ratio": 5.0, "sharpness": 60.0},
            field="share_staying",
        )
        constants = (
            plain(fit, "cut_ratio", "1", standing(figures["all.cut_ratio"])),
            plain(fit, "sharpness", "1", standing(figures[sharp[model]])),
        )
        use = f"Set model to {model}, and cut_ratio and sharpness to these values on the sifter."
        found.append(TrialFit(fit, constants, use))
    return in_order(found)


def _partition(model: str, over_aperture: Array) -> Curve:
    return lambda p: sift_size.partition(model, over_aperture / p[0], float(p[1]))


def fit_sizes(size_mm: Sequence[float], share_coarser: Sequence[float]) -> list[TrialFit]:
    """Sizes of a feed from a sieve analysis, log-normal and Rosin-Rammler, best first.

    Parameters
    ----------
    size_mm, share_coarser : sequence of float
        Aperture, and the share of the sample that stays above it.
    """
    as_long("size_mm", {"share_coarser": share_coarser}, len(size_mm))
    size = column("size_mm", size_mm, 0.0, 1000.0, "mm", ends=False)
    coarser = column("share_coarser", share_coarser, 0.0, 1.0)
    goes("share_coarser", size, coarser, -1, "less stays above a wider aperture")
    middle = float(np.exp(np.mean(np.log(size)))) if size.size else 1.0
    found = []
    for kind, (guesses, (least, most)) in _SPREADS.items():
        fit = fit_curve(
            kind,
            _coarser(kind, size),
            coarser,
            ("size_mm", "spread"),
            [[m * middle, s] for m in (0.5, 1.0, 2.0) for s in guesses],
            lower={"size_mm": 1e-4, "spread": least},
            upper={"size_mm": 1e3, "spread": most},
            field="share_coarser",
        )
        constants = (plain(fit, "size_mm", "mm"), plain(fit, "spread"))
        found.append(TrialFit(fit, constants, f"Give the feed kind {kind} with these values."))
    return in_order(found)


def _coarser(kind: str, size: Array) -> Callable[[Array], Array]:
    return lambda p: 1.0 - sift_size.Feed(kind, float(p[0]), float(p[1])).passing(size)


def in_order(found: list[TrialFit]) -> list[TrialFit]:
    """Best first by AICc."""
    order = ranked([f.fit for f in found])
    return sorted(found, key=lambda f: order.index(f.fit))
