"""A works' own trial fitted to a stage's model: constants with standard errors, beside today's."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, Field

from wareleaf.works.doors import DoorInput, DoorOutput
from wareleaf.works.doors._fits import goodness, loose, unranked
from wareleaf.works.doors.blanch import BathIn

if TYPE_CHECKING:
    from wareleaf.stages.trial import TrialFit

Numbers = Annotated[list[float], Field(min_length=1, max_length=2000)]


class WitherTrial(DoorInput):
    """A load on a trough, weighed or sampled over the night."""

    stage: Literal["wither"]
    leaf: str = "tea_black"
    mass_kg: float = Field(gt=0.0)
    moisture_wb: float = Field(gt=0.0, lt=1.0, description="As spread.")
    dry_bulb_c: Numbers
    relative_humidity: Numbers
    air_time_h: Numbers = Field([0.0])
    length_m: float | None = None
    width_m: float | None = None
    air_velocity_m_s: float | None = None
    time_h: Numbers
    reading_wb: Numbers = Field(description="Mean of the bed, fraction wet basis, at time_h.")


class BlanchTrial(DoorInput):
    """Dips of different length; each point is one load of mass_kg in a fresh bath."""

    stage: Literal["blanch"]
    leaf: str
    mass_kg: float = Field(gt=0.0)
    moisture_wb: float = Field(gt=0.0, lt=1.0)
    iodine_before_mg_kg_dw: float = Field(gt=0.0)
    leaf_temperature_c: float = 8.0
    half_thickness_m: float | None = Field(None, gt=0.0)
    bath: BathIn
    immersion_s: Numbers
    iodine_mg_kg_dw: Numbers
    temperature_c: Numbers | None = Field(None, description="Of the bath at each point.")


class FloorTrial(DoorInput):
    """Leaf and air of a trial on the oxidation floor."""

    leaf: str = "tea_black"
    cut: Literal["orthodox_fine", "orthodox_coarse", "ctc"] = "orthodox_fine"
    moisture_wb: float = Field(gt=0.0, lt=1.0)
    leaf_temperature_c: float = 26.0
    dry_bulb_c: float = 24.0
    relative_humidity: float = 0.96
    air_kg_h_kg: float = 3.0
    oxygen_factor: float = 1.0
    disruption: float = 1.0
    catechins_mg_g: float = 137.5
    minutes: Numbers


class OxidiseTrial(FloorTrial):
    """Theaflavin over the minutes on the floor."""

    stage: Literal["oxidise"]
    theaflavin_fraction: Numbers = Field(description="Of infusion solids.")
    air_c: Numbers | None = Field(None, description="Of each point; one trial a temperature.")


class ColourTrial(FloorTrial):
    """What a colour meter shows over the minutes on the floor, in its own unit."""

    stage: Literal["colour"]
    rate_factor: float = Field(1.0, gt=0.0, description="Known of this leaf.")
    colour_index: Numbers


class RollTrial(DoorInput):
    """Counted samples from the roll."""

    stage: Literal["roll"]
    leaf: str = "tea_black"
    style: Literal["orthodox", "ctc"] = "orthodox"
    moisture_wb: float = Field(0.65, gt=0.0, lt=1.0)
    broken_before: float = Field(0.0, ge=0.0, lt=1.0)
    minutes: Numbers
    disruption: Numbers = Field(description="Share of broken cells.")
    pressure_kpa: Numbers | None = Field(None, description="20 when left out.")


class SieveTrial(DoorInput):
    """How much of each size stayed on a sieve."""

    stage: Literal["sieve"]
    aperture_mm: float
    size_mm: Numbers = Field(description="Middle of each class.")
    share_staying: Numbers


class SizesTrial(DoorInput):
    """A sieve analysis of a feed."""

    stage: Literal["sizes"]
    size_mm: Numbers = Field(description="Apertures.")
    share_coarser: Numbers


class MillTrial(DoorInput):
    """Metered reductions."""

    stage: Literal["mill"]
    feed_um: Numbers = Field(description="80 % passing before.")
    product_um: Numbers = Field(description="80 % passing after.")
    work_kj_kg: Numbers = Field(description="Shaft work less idle; 3.6 kJ/kg is 1 kWh/t.")


class LossTrial(DoorInput):
    """Leaf kept at steady temperatures, and what share of something was left."""

    stage: Literal["loss"]
    what: str = Field(description="vitamin_c, theaflavin, chlorophyll, an enzyme or an own name.")
    leaf_c: Numbers = Field(description="Of each sample.")
    hours: Numbers
    kept: Numbers = Field(description="Share left, 0 to 1.")


class RatesTrial(DoorInput):
    """A rate constant that was found at several temperatures, in any unit."""

    stage: Literal["rates"]
    temperature_c: Numbers
    rate: Numbers
    reference_c: float | None = Field(None, description="Where the rate is told.")


Trial = (
    WitherTrial
    | BlanchTrial
    | OxidiseTrial
    | ColourTrial
    | RollTrial
    | SieveTrial
    | SizesTrial
    | MillTrial
    | LossTrial
    | RatesTrial
)


class Input(DoorInput):
    """One trial of one stage."""

    trial: Annotated[Trial, Field(discriminator="stage")]


class ConstantOut(BaseModel):
    """A fitted constant beside the one that stands; error null where the trial leaves it open."""

    name: str
    unit: str
    value: float
    standard_error: float | None
    standing: float | None = None
    standing_evidence: str | None = None
    standard_errors_away: float | None = Field(
        None, description="Distance from what stands, in standard errors."
    )


class FittedTrial(BaseModel):
    """One fitted form."""

    model: str
    constants: list[ConstantOut]
    use: str
    rmse: float
    residual_sd: float
    mean_relative_deviation_percent: float | None
    aicc: float | None
    predicted: list[float]
    residuals: list[float]


class Output(DoorOutput):
    """The fits, best first by AICc."""

    fits: list[FittedTrial]
    best: str


def run(data: Input) -> Output:
    """Compute the door."""
    found = _fitted(data.trial)
    return Output(
        fits=[_shown(f) for f in found],
        best=found[0].fit.model,
        sources=[
            "The works' own trial; model and constants as told by the door of the stage.",
            "AICc: Hurvich and Tsai, Biometrika 76:297 (1989), from memory.",
        ],
        warnings=_warnings(found),
    )


def _fitted(trial: Trial) -> list[TrialFit]:
    from wareleaf.stages import trial as laws

    if isinstance(trial, MillTrial):
        return laws.fit_mill(trial.feed_um, trial.product_um, trial.work_kj_kg)
    if isinstance(trial, SieveTrial):
        return laws.fit_sieve(trial.size_mm, trial.share_staying, trial.aperture_mm)
    if isinstance(trial, SizesTrial):
        return laws.fit_sizes(trial.size_mm, trial.share_coarser)
    if isinstance(trial, RollTrial):
        from wareleaf.stages.roll_run import Roller, RollRun

        rolled = RollRun(trial.leaf, 100.0, trial.moisture_wb, disruption=trial.broken_before)
        return laws.fit_roll(
            Roller(trial.style), rolled, trial.minutes, trial.disruption, trial.pressure_kpa
        )
    if isinstance(trial, WitherTrial):
        return _wither(trial)
    if isinstance(trial, BlanchTrial):
        return _blanch(trial)
    if isinstance(trial, LossTrial):
        from wareleaf.stages.trial_heat import fit_loss

        return fit_loss(trial.what, trial.leaf_c, trial.hours, trial.kept)
    if isinstance(trial, RatesTrial):
        from wareleaf.stages.trial_heat import fit_rates

        return fit_rates(trial.temperature_c, trial.rate, trial.reference_c)
    return _on_the_floor(trial)


def _wither(trial: WitherTrial) -> list[TrialFit]:
    from wareleaf.stages import trial_stage, wither

    of_trough = trial.model_dump(
        include={"length_m", "width_m", "air_velocity_m_s"}, exclude_none=True
    )
    load = wither.WitherRun(
        trial.leaf,
        trial.mass_kg,
        trial.moisture_wb,
        tuple(trial.air_time_h),
        tuple(trial.dry_bulb_c),
        tuple(trial.relative_humidity),
        duration_h=max(trial.time_h),
    )
    return trial_stage.fit_wither(wither.Trough(**of_trough), load, trial.time_h, trial.reading_wb)


def _blanch(trial: BlanchTrial) -> list[TrialFit]:
    from wareleaf.stages import blanch, trial_stage

    load = blanch.BlanchRun(
        trial.leaf,
        trial.mass_kg,
        trial.moisture_wb,
        trial.iodine_before_mg_kg_dw,
        leaf_temperature_c=trial.leaf_temperature_c,
        half_thickness_m=trial.half_thickness_m,
    )
    return trial_stage.fit_blanch(
        blanch.Bath(**trial.bath.model_dump()),
        load,
        trial.immersion_s,
        trial.iodine_mg_kg_dw,
        trial.temperature_c,
    )


def _on_the_floor(trial: OxidiseTrial | ColourTrial) -> list[TrialFit]:
    from wareleaf.stages import oxidise, trial_floor

    floor = oxidise.Floor(
        **trial.model_dump(
            include={"dry_bulb_c", "relative_humidity", "air_kg_h_kg", "oxygen_factor"}
        )
    )
    batch = oxidise.OxidiseRun(
        leaf_id=trial.leaf,
        mass_kg=1.0,
        **trial.model_dump(
            include={
                "moisture_wb",
                "cut",
                "leaf_temperature_c",
                "disruption",
                "catechins_mg_g",
            }
        ),
    )
    if isinstance(trial, ColourTrial):
        known = replace(batch, rate_factor=trial.rate_factor)
        return trial_floor.fit_colour(floor, known, trial.minutes, trial.colour_index)
    return trial_floor.fit_oxidise(
        floor, batch, trial.minutes, trial.theaflavin_fraction, trial.air_c
    )


def _shown(found: TrialFit) -> FittedTrial:
    constants = [
        ConstantOut(
            name=c.name,
            unit=c.unit,
            value=c.value,
            standard_error=c.standard_error,
            standing=c.standing.value if c.standing else None,
            standing_evidence=c.standing.evidence if c.standing else None,
            standard_errors_away=(
                abs(c.value - c.standing.value) / c.standard_error
                if c.standing and c.standard_error
                else None
            ),
        )
        for c in found.constants
    ]
    fit = found.fit
    return FittedTrial(
        model=fit.model,
        constants=constants,
        use=found.use,
        **goodness(fit),
    )


def _warnings(found: list[TrialFit]) -> list[str]:
    said = list(dict.fromkeys(s for each in found for s in each.said))
    for each in found:
        said += [*loose(each.fit, "the trial does"), *unranked(each.fit, "points")]
        for constant in each.constants:
            error = constant.standard_error
            if error is not None and error > 0.5 * abs(constant.value):
                said.append(
                    f"{each.fit.model}: {constant.name} is known to half its size or worse; "
                    "add points where it acts."
                )
    said.append(
        "One trial speaks for one lot, leaf and machine: repeat it, and look at the residuals, "
        "before its constants replace what stands."
    )
    return said
