"""What the doors that fit a model say of every fit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import BaseModel

if TYPE_CHECKING:
    from wareleaf.leaf.fit import Fit


class Constant(BaseModel):
    """A fitted constant; the error is null where the points do not determine it."""

    value: float
    standard_error: float | None


def constants_of(fit: Fit) -> dict[str, Constant]:
    """The fitted constants by name."""
    return {
        name: Constant(value=value, standard_error=fit.standard_errors[name])
        for name, value in fit.parameters.items()
    }


def goodness(fit: Fit) -> dict[str, Any]:
    """How well it fits, under the names of the answer."""
    return {
        "rmse": fit.rmse,
        "residual_sd": fit.residual_sd,
        "mean_relative_deviation_percent": fit.mean_relative_deviation_percent,
        "aicc": fit.aicc,
        "predicted": fit.predicted.tolist(),
        "residuals": fit.residuals.tolist(),
    }


def loose(fit: Fit, what: str) -> list[str]:
    """A warning of constants that are not determined; ``what`` does not: "the points do"."""
    names = [n for n, e in fit.standard_errors.items() if e is None]
    return [f"{fit.model}: {what} not determine {', '.join(names)}."] if names else []


def unranked(fit: Fit, points: str) -> list[str]:
    """A warning of a fit that has too few points, or readings, to be ranked."""
    if fit.aicc is not None:
        return []
    return [f"{fit.model}: too few {points} for AICc; it stands last, by RMSE."]
