"""How likely a sampling plan accepts a lot: two-class or three-class, large or small lots."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from wareleaf.works.doors import DoorInput, DoorOutput

_THREE = ("log_mean", "log_sd", "m_log", "M_log")


class Input(DoorInput):
    """Two-class: ``fraction_defective``, with ``lot_size`` drawn without replacement.

    Three-class: ``log_mean``, ``log_sd``, ``m_log`` and ``M_log`` in log10 cfu/g.
    """

    n: int = Field(ge=1, le=100_000)
    c: int = Field(ge=0)
    fraction_defective: list[Annotated[float, Field(ge=0.0, le=1.0)]] | None = Field(
        None, min_length=1, max_length=10_000
    )
    lot_size: int | None = Field(None, ge=1)
    log_mean: list[float] | None = Field(None, min_length=1, max_length=10_000)
    log_sd: float | None = Field(None, gt=0.0)
    m_log: float | None = None
    M_log: float | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if self.c >= self.n:
            raise ValueError(f"c is {self.c} and must be below n, {self.n}")
        given = [name for name in _THREE if getattr(self, name) is not None]
        if (self.fraction_defective is None) == (not given):
            raise ValueError(
                "give fraction_defective (two-class) or log_mean, log_sd, m_log and M_log "
                "(three-class), not both"
            )
        if given and len(given) < len(_THREE):
            raise ValueError(f"{next(n for n in _THREE if n not in given)} is missing")
        if given and self.lot_size is not None:
            raise ValueError("lot_size belongs to a two-class plan")
        if self.m_log is not None and self.M_log is not None and self.m_log >= self.M_log:
            raise ValueError("m_log must be below M_log")
        if self.lot_size is not None and self.lot_size < self.n:
            raise ValueError(f"lot_size is {self.lot_size} and must be at least n, {self.n}")
        return self


class Output(DoorOutput):
    """One probability for each fraction or each mean; shares of units for a three-class plan."""

    probability_accept: list[float]
    fraction_marginal: list[float] | None = None
    fraction_defective: list[float] | None = None


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.release import sampling

    if data.fraction_defective is not None:
        accept = [
            sampling.two_class(data.n, data.c, p, data.lot_size) for p in data.fraction_defective
        ]
        out = Output(
            probability_accept=accept,
            sources=["Binomial plan: Adams and Moss, Food Microbiology, eq. 11.3 to 11.6 (copy)."],
        )
        if data.lot_size is not None:
            out.sources = ["Hypergeometric plan (standard result, memory)."]
            if any(
                abs(p * data.lot_size - round(p * data.lot_size)) > 1e-9
                for p in data.fraction_defective
            ):
                out.warnings.append("A lot has whole defective units: shares were rounded to them.")
        return out
    assert data.log_mean is not None
    assert data.log_sd is not None
    assert data.m_log is not None
    assert data.M_log is not None
    shares = [
        sampling.shares_from_counts(mean, data.log_sd, data.m_log, data.M_log)
        for mean in data.log_mean
    ]
    return Output(
        probability_accept=[sampling.three_class(data.n, data.c, pm, pd) for pm, pd in shares],
        fraction_marginal=[pm for pm, _ in shares],
        fraction_defective=[pd for _, pd in shares],
        sources=["Trinomial three-class plan with normal log counts (approach ICMSF; memory)."],
        warnings=["The three-class formula is from memory; no printed table of it was read."],
    )
