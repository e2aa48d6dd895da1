"""Broken leaf over a stack of sieves: grades, dust, and the aperture for a wanted share."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, Field

from wareleaf.works.doors import DoorInput, DoorOutput


class DeckIn(DoorInput):
    """One sieve, coarsest first."""

    grade: str = Field(min_length=1)
    aperture_mm: float = Field(gt=0.0)


class FeedIn(DoorInput):
    """Sizes of the feed."""

    kind: Literal["log_normal", "rosin_rammler"] = "log_normal"
    size_mm: float = Field(gt=0.0, description="Median, or the Rosin-Rammler scale.")
    spread: float = Field(gt=0.0, description="Sd of ln(size), or the Rosin-Rammler exponent.")


class Input(DoorInput):
    """Leaf, its sizes and the sieves; with a wanted share the aperture is found."""

    leaf: str = Field("tea_black", description="Leaf profile id.")
    mass_kg: float = Field(gt=0.0)
    moisture_wb: float = Field(0.035, ge=0.0, lt=1.0)
    feed: FeedIn
    decks: list[DeckIn] = Field(min_length=1)
    pan_grade: str = "dust"
    model: Literal["whiten", "reid_plitt"] = "whiten"
    sharpness: float | None = Field(None, gt=0.0)
    cut_ratio: float = Field(0.9, gt=0.0)
    feed_kg_h: float = Field(500.0, gt=0.0)
    motor_kw: float = Field(2.2, ge=0.0)
    dust_below_mm: float = Field(0.1, ge=0.0)
    dust_lift: float = Field(0.3, ge=0.0, le=1.0)
    aim_grade: str | None = Field(None, description="Deck whose aperture is to be found.")
    aim_share: float | None = Field(None, gt=0.0, le=1.0, description="Wanted share of the load.")


class GradeOut(BaseModel):
    """One grade."""

    name: str
    mass_kg: float
    dry_matter_kg: float
    share: float
    share_sd: float
    median_mm: float | None


class Output(DoorOutput):
    """Grades and dust; they add up to the load."""

    duration_h: float
    mass_out_kg: float
    dry_matter_kg: float
    dust_kg: float
    electricity_kwh: float
    mass_residual: float
    grades: list[GradeOut]
    aperture_mm: float | None = None
    standard_aperture_mm: float | None = None
    reachable: bool | None = None
    reason: str | None = None


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf.measure import BadInput
    from wareleaf.stages import sift

    if (data.aim_grade is None) != (data.aim_share is None):
        raise BadInput(
            "aim_share", data.aim_share, "Give aim_grade and aim_share together, or neither."
        )
    stack = sift.SieveStack(
        decks=tuple(sift.Deck(d.grade, d.aperture_mm) for d in data.decks),
        pan_grade=data.pan_grade,
        model=data.model,
        sharpness=data.sharpness,
        cut_ratio=data.cut_ratio,
        feed_kg_h=data.feed_kg_h,
        motor_kw=data.motor_kw,
        dust_below_mm=data.dust_below_mm,
        dust_lift=data.dust_lift,
    )
    load = sift.SiftRun(
        data.leaf, data.mass_kg, data.moisture_wb, sift.Feed(**data.feed.model_dump())
    )
    found: dict[str, Any] = {}
    if data.aim_grade is not None and data.aim_share is not None:
        aimed = sift.aim(stack, load, data.aim_grade, data.aim_share)
        result = aimed.result
        found = {**aimed.settings, "reachable": aimed.reachable, "reason": aimed.reason}
    else:
        result = sift.simulate(stack, load)
    return Output(
        duration_h=result.duration_h,
        mass_out_kg=result.mass_out_kg,
        dry_matter_kg=result.dry_matter_kg,
        dust_kg=result.dust_kg,
        electricity_kwh=result.electricity_kwh,
        mass_residual=result.mass_residual,
        grades=[
            GradeOut(
                name=g.name,
                mass_kg=g.mass_kg,
                dry_matter_kg=g.dry_matter_kg,
                share=g.share,
                share_sd=g.share_sd,
                median_mm=g.median_mm if g.median_mm == g.median_mm else None,
            )
            for g in result.grades
        ],
        sources=list(result.sources),
        warnings=list(result.warnings),
        **found,
    )
