"""Whether packs hold what they declare, and how much to fill so that they do.

A lot is right when its mean is not below the declared quantity, hardly any pack is short by more
than the tolerable deficiency, and none by more than twice that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from wareleaf.measure import Evidence, require
from wareleaf.pack.fill_rules import Plan, check_scheme, plan_for, tolerable_deficiency

MEAN_CONFIDENCE = 0.995  # one-sided, of both schemes' mean test
SMALL_LOT_T1_SHARE = 0.025  # packs beyond tolerance in a wholly weighed lot; from memory


@dataclass(frozen=True)
class Step:
    """One step of a fill check, as it would be written down by hand."""

    name: str
    working: str
    passed: bool | None = None


@dataclass(frozen=True)
class FillCheck:
    """Result of a declared-weight check.

    Parameters
    ----------
    tolerable_deficiency : float
        T, in the unit of the declared quantity.
    n : int
        Packs weighed.
    mean_error, sd : float
        Mean of net minus declared, and standard deviation of the packs.
    mean_limit : float
        Least mean error that passes.
    mean_passes : bool
        Outcome of the mean test.
    t1_count, t1_allowed : int
        Packs short by more than T, and how many may be.
    t2_count : int
        Packs short by more than 2 T; none may be.
    decision : str
        ``accept``, ``reject`` or ``second_sample``.
    steps : tuple of Step
        Each step.
    evidence : Evidence
        Weakest of the tables used.
    sources : tuple of str
        Citations.
    """

    tolerable_deficiency: float
    n: int
    mean_error: float
    sd: float
    mean_limit: float
    mean_passes: bool
    t1_count: int
    t1_allowed: int
    t2_count: int
    decision: str
    steps: tuple[Step, ...]
    evidence: Evidence
    sources: tuple[str, ...]


def mean_factor(n: int) -> float:
    """Factor of the mean test, ``t(0.995, n - 1)/sqrt(n)``; both schemes print it rounded."""
    return float(stats.t.ppf(MEAN_CONFIDENCE, n - 1)) / math.sqrt(n)


def _weights(net: Sequence[float], lot_size: int, plan: Plan | None) -> np.ndarray:
    values = np.asarray(net, dtype=float)
    require(
        values.size > 0 and bool(np.all(np.isfinite(values) & (values >= 0.0))),
        "net_g",
        None if values.size == 0 else float(np.min(values)),
        "net_g must be a list of finite weights of 0 or more.",
    )
    if plan is None:
        require(
            values.size == lot_size,
            "net_g",
            int(values.size),
            f"net_g has {values.size} packs; a lot of {lot_size} is weighed pack by pack.",
        )
    else:
        needed = max(plan.n1, plan.n_mean)
        require(
            needed <= values.size <= lot_size,
            "net_g",
            int(values.size),
            f"net_g has {values.size} packs; a lot of {lot_size} needs at least {needed} "
            "drawn at random.",
        )
    return values


def _decision(mean_passes: bool, t1: int, t2: int, accept: int, reject: int) -> str:
    if not mean_passes or t2 > 0 or t1 >= reject:
        return "reject"
    return "accept" if t1 <= accept else "second_sample"


def check_fill(
    nominal: float, lot_size: int, net: Sequence[float], scheme: str = "oiml_r87"
) -> FillCheck:
    """Check the declared quantity of a lot of packs.

    Parameters
    ----------
    nominal : float
        Declared quantity, g or ml.
    lot_size : int
        Packs in the lot.
    net : sequence of float
        Net contents in the same unit, drawn at random; more than the plan needs is welcome and
        makes both tests stricter. Below 100 packs in the lot: all of them.
    scheme : {'oiml_r87', 'eu_76_211'}
        OIML R 87:2016 or Directive 76/211/EEC (non-destructive; only the first sample of its
        double plan, see ``second_sample``).

    Returns
    -------
    FillCheck
        Both tests, step by step, and the decision.

    Raises
    ------
    BadInput
        Too few packs, weights that cannot be, or an unknown scheme.

    Notes
    -----
    Mean test: passes when ``mean error + k s >= 0``. OIML R 87:2016: tables and plan from memory;
    Directive 76/211/EEC Annex II: read.
    """
    tolerance = tolerable_deficiency(nominal, scheme)
    plan = plan_for(lot_size, scheme)
    values = _weights(net, lot_size, plan)
    n = int(values.size)
    error = values - nominal
    mean, sd = float(error.mean()), float(error.std(ddof=1)) if n > 1 else 0.0
    t1 = int(np.sum(error < -tolerance.amount - 1e-9))
    t2 = int(np.sum(error < -2.0 * tolerance.amount - 1e-9))
    if plan is None:
        factor, accept, reject = 0.0, math.floor(SMALL_LOT_T1_SHARE * n), None
        limit_words = "every pack was weighed, so no allowance: mean error must be 0 or more"
        evidence, source = Evidence.PRACTICE, "Lots under 100 packs: weighed pack by pack."
    else:
        factor = plan.k if n == plan.n_mean else mean_factor(n)
        accept, reject = plan.c1, plan.r1
        limit_words = f"k = {factor:.4g}; least mean error -k s = {-factor * sd:.4g}"
        evidence, source = plan.evidence, plan.source
    limit = -factor * sd
    passes = mean >= limit - 1e-9
    refuse = accept + 1 if reject is None else reject
    decision = _decision(passes, t1, t2, accept, refuse)
    allowed = f"{accept} accepted" + (f", {refuse} refused" if refuse > accept + 1 else "")
    steps = (
        Step("tolerable deficiency", f"T = {tolerance.amount:g} ({tolerance.rule})"),
        Step("sample", f"{n} of {lot_size} packs"),
        Step("mean error", f"mean of net - {nominal:g} = {mean:+.4g}; s = {sd:.4g}"),
        Step("mean test", limit_words, passes),
        Step(
            "beyond T",
            f"{t1} packs below {nominal - tolerance.amount:g}; {allowed}",
            None if decision == "second_sample" else t1 <= accept,
        ),
        Step(
            "beyond 2 T",
            f"{t2} packs below {nominal - 2.0 * tolerance.amount:g}; none may be",
            t2 == 0,
        ),
        Step("decision", decision.replace("_", " ")),
    )
    order = list(Evidence)
    return FillCheck(
        tolerable_deficiency=tolerance.amount,
        n=n,
        mean_error=mean,
        sd=sd,
        mean_limit=limit,
        mean_passes=passes,
        t1_count=t1,
        t1_allowed=accept,
        t2_count=t2,
        decision=decision,
        steps=steps,
        evidence=max(evidence, tolerance.evidence, key=order.index),
        sources=(source,),
    )


@dataclass(frozen=True)
class FillTarget:
    """What to set the filler to.

    Parameters
    ----------
    target : float
        Mean fill, g or ml.
    overfill : float
        Given away a pack.
    binding : str
        Which rule asks for the most: ``mean``, ``T1`` or ``T2``.
    needs : tuple of (str, float)
        Mean that each rule asks for.
    """

    target: float
    overfill: float
    binding: str
    needs: tuple[tuple[str, float], ...]


def target_fill(
    nominal: float,
    sd: float,
    *,
    scheme: str = "oiml_r87",
    t1_share: float = 0.025,
    t2_share: float = 1e-4,
    mean_uncertainty: float = 0.0,
) -> FillTarget:
    """Least mean fill that keeps the mean, T1 and T2 rules.

    Parameters
    ----------
    nominal : float
        Declared quantity, g or ml.
    sd : float
        Standard deviation of single packs, same unit, scatter of the filler and moisture together.
    scheme : {'oiml_r87', 'eu_76_211'}
        See `check_fill`.
    t1_share, t2_share : float
        Shares of packs allowed beyond T and beyond 2 T (2.5 % from memory, 1 in 10,000 practice).
    mean_uncertainty : float
        Standard uncertainty of the mean fill itself (scale, tare); two of it are added.

    Returns
    -------
    FillTarget
        Target, overfill and the rule that asks for it.

    Raises
    ------
    BadInput
        For a scatter below 0 or shares outside 0 to 0.5.

    Notes
    -----
    Normal packs: ``nominal``; ``nominal - T + z(1 - t1) sd``; ``nominal - 2 T + z(1 - t2) sd``;
    the greatest of them plus ``2 mean_uncertainty`` (derived).
    """
    check_scheme(scheme)
    require(math.isfinite(sd) and sd >= 0.0, "sd", sd, f"sd is {sd}; it must be 0 or more.")
    for value, field in ((t1_share, "t1_share"), (t2_share, "t2_share")):
        require(0.0 < value < 0.5, field, value, f"{field} is {value}; it must be from 0 to 0.5.")
    tolerance = tolerable_deficiency(nominal, scheme).amount
    needs = (
        ("mean", nominal),
        ("T1", nominal - tolerance - float(special.ndtri(t1_share)) * sd),
        ("T2", nominal - 2.0 * tolerance - float(special.ndtri(t2_share)) * sd),
    )
    binding, least = max(needs, key=lambda x: x[1])
    target = least + 2.0 * mean_uncertainty
    return FillTarget(target=target, overfill=target - nominal, binding=binding, needs=needs)
