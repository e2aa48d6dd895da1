"""What a stage keeps of what is in the leaf, and how far the parts that come off it differ."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wareleaf.stages.blanch_spec import figure as blanch_figure
from wareleaf.stages.common import stage_figures

LEACHING = ("wash", "blanch")


@dataclass(frozen=True)
class Kept:
    """What a stage keeps of a content.

    Parameters
    ----------
    fraction : float
        Of the content per kg dry matter; of the amount when ``of_amount``, and the content then
        rises as other matter leaves.
    run_sd, machine_sd : float
        Standard uncertainty of ``fraction`` that differs from run to run, and the part that a
        machine has in common over its runs.
    of_amount : bool
        See ``fraction``.
    """

    fraction: float
    run_sd: float
    machine_sd: float
    of_amount: bool


def _number(name: str) -> float:
    return stage_figures("carry")[name].value


def part_relative_sd(stage: str) -> float:
    """How far the parts of one charge differ, as a share of what they hold."""
    rows = stage_figures("carry")
    return rows.get(f"{stage}.part_relative_sd", rows["all.part_relative_sd"]).value


def sample_relative_sd() -> float:
    """How far a sample lies from its lot, as a share of what it holds."""
    return _number("all.sample_relative_sd")


def kept(stage: str, parameter: str, predicted: float | None = None) -> Kept:
    """What a stage keeps of a parameter.

    Parameters
    ----------
    stage : str
        ``blanch``, ``wash`` ...; a stage that is not in `LEACHING` keeps everything.
    parameter : str
        As laboratories name it.
    predicted : float, optional
        Fraction of iodine per kg dry matter that the bath model predicted for the run; without it
        the published mean is taken.

    Notes
    -----
    Iodine: normal with the mean and the standard deviation of the log-normal spread of six
    published residuals (``data/blanch.csv``). The rest is in ``data/carry.csv``.
    """
    if stage not in LEACHING:
        return Kept(1.0, 0.0, 0.0, of_amount=True)
    if stage == "blanch" and parameter == "iodine":
        return _iodine(predicted)
    rows = stage_figures("carry")
    name = f"{stage}.{parameter}_kept" if f"{stage}.{parameter}_kept" in rows else ""
    name = name or f"{stage}.other_kept"
    sd, run = rows[f"{name}_sd"].value, _number("all.run_share_of_doubt")
    return Kept(
        fraction=rows[name].value,
        run_sd=run * sd,
        machine_sd=math.sqrt(1.0 - run * run) * sd,
        of_amount=rows[name].basis == "amount",
    )


def _iodine(predicted: float | None) -> Kept:
    usual, spread = blanch_figure("all.iodine_residual_log_mean"), _number("blanch.iodine_log_sd")
    log_kept = usual if predicted is None else math.log(min(max(predicted, 1e-3), 1.0))
    whole = blanch_figure("all.iodine_residual_log_sd") * log_kept / usual
    run = min(spread, whole)
    fraction = math.exp(log_kept)
    return Kept(
        fraction=fraction,
        run_sd=fraction * math.sqrt(math.expm1(run**2)),
        machine_sd=fraction * math.sqrt(math.expm1(whole**2 - run**2)),
        of_amount=False,
    )
