"""Days until packed leaf takes up too much water through its film, in one climate or several."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from wareleaf.measure import BadInput, basis
from wareleaf.works.doors import DoorInput, DoorOutput

if TYPE_CHECKING:
    from wareleaf.pack import Climate, Desiccant, PackIsotherm, ShelfLife


class IsothermIn(DoorInput):
    """An isotherm: a model of the sorption door, ``linear``, or ``points``."""

    model: str = Field(
        description="gab, modified_oswin, modified_halsey, modified_henderson, "
        "modified_chung_pfost, peleg; linear (slope, intercept); or points."
    )
    parameters: dict[str, float] = Field(default_factory=dict)
    water_activity: list[float] | None = Field(None, description="For points.")
    moisture_db: list[float] | None = Field(None, description="For points.")


class WvtrAt(DoorInput):
    """State that the transmission rate was measured at."""

    temperature_c: float = Field(38.0, ge=-20.0, le=100.0)
    relative_humidity_difference: float = Field(0.9, gt=0.0, le=1.0)


class ClimateIn(DoorInput):
    """Air around the pack; without ``days`` it lasts."""

    days: float | None = Field(None, gt=0.0)
    temperature_c: float = Field(ge=-20.0, le=60.0)
    relative_humidity: float = Field(ge=0.0, le=1.0)


class DesiccantIn(DoorInput):
    """Units of MIL-D-3464E, or own points of uptake (all bags together) from humidity 0."""

    units: float | None = Field(None, gt=0.0)
    relative_humidity: list[float] | None = None
    water_g: list[float] | None = None
    water_g_start: float = Field(0.0, ge=0.0)

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        points = self.relative_humidity is not None and self.water_g is not None
        if (self.units is None) == (not points):
            raise ValueError("give units, or relative_humidity with water_g")
        return self


class Input(DoorInput):
    """Leaf (profile id) or isotherm, what is in the pack, its film and the climate outside."""

    leaf: str | None = None
    isotherm: IsothermIn | None = None
    model: str | None = Field(None, description="Short for isotherm, with parameters.")
    parameters: dict[str, float] | None = None
    dry_matter_kg: float = Field(gt=0.0)
    moisture_db_start: float = Field(ge=0.0)
    moisture_db_limit: float | None = Field(
        None, gt=0.0, description="Left out with a leaf: its store limit."
    )
    area_m2: float = Field(gt=0.0)
    wvtr_g_m2_day: float = Field(ge=0.0)
    wvtr_at: WvtrAt = WvtrAt(temperature_c=38.0, relative_humidity_difference=0.9)
    wvtr_relative_standard_uncertainty: float = Field(0.0, ge=0.0, lt=1.0)
    activation_j_mol: float = Field(0.0, ge=0.0, le=200_000.0)
    climate: ClimateIn | Annotated[list[ClimateIn], Field(min_length=1, max_length=2000)]
    desiccant: DesiccantIn | None = None

    @model_validator(mode="after")
    def _one_isotherm(self) -> Self:
        if sum(x is not None for x in (self.leaf, self.isotherm, self.model)) != 1:
            raise ValueError("give exactly one of leaf, isotherm and model")
        if (self.model is None) != (self.parameters is None):
            raise ValueError("model and parameters go together")
        if self.moisture_db_limit is None and self.leaf is None:
            raise ValueError("moisture_db_limit is missing; only a leaf has its own store limit")
        if isinstance(self.climate, list) and any(c.days is None for c in self.climate[:-1]):
            raise ValueError("every climate but the last needs days")
        return self


class Point(DoorInput):
    """One point of the course."""

    days: float
    moisture_db: float
    moisture_wb: float
    water_activity: float
    temperature_c: float


class Output(DoorOutput):
    """Days (null when the limit is never reached), what ends them, and the course."""

    days: float | None
    days_low: float | None = None
    days_high: float | None = None
    limiting: Literal["film", "climate", "horizon"]
    water_gained_g: float
    moisture_db_limit: float
    series: list[Point]


def _isotherm(data: Input) -> PackIsotherm:
    from wareleaf import pack

    if data.leaf is not None:
        return pack.of_leaf(data.leaf)
    given = data.isotherm
    if given is None:
        return pack.of_model(data.model or "", data.parameters or {})
    if given.model == "linear":
        unknown = sorted(set(given.parameters) - {"slope", "intercept"})
        if unknown or "slope" not in given.parameters:
            raise BadInput(
                "isotherm.parameters",
                given.parameters,
                "A linear isotherm has the parameters slope and, if you like, intercept.",
            )
        return pack.linear(given.parameters["slope"], given.parameters.get("intercept", 0.0))
    if given.model == "points":
        return pack.of_points(given.water_activity or [], given.moisture_db or [])
    return pack.of_model(given.model, given.parameters)


def _climates(data: Input) -> list[Climate]:
    from wareleaf.pack import Climate

    if not isinstance(data.climate, list):
        one = data.climate
        return [Climate(one.days or float("inf"), one.temperature_c, one.relative_humidity)]
    return [
        Climate(c.days or float("inf"), c.temperature_c, c.relative_humidity) for c in data.climate
    ]


def _desiccant(data: Input) -> Desiccant | None:
    from wareleaf import pack

    given = data.desiccant
    if given is None:
        return None
    if given.units is not None:
        return pack.desiccant_units(given.units, given.water_g_start)
    assert given.relative_humidity is not None
    assert given.water_g is not None
    return pack.Desiccant(tuple(given.relative_humidity), tuple(given.water_g), given.water_g_start)


def _warnings(data: Input, found: ShelfLife) -> list[str]:
    said = []
    if found.beyond_climate:
        said.append("The climates given end before the limit; the last one was taken to go on.")
    if found.limiting == "climate":
        said.append(
            "In the last climate the leaf comes to rest at or below the limit: it is never "
            "reached there. Other things than water will end its life."
        )
    if found.limiting == "horizon":
        said.append("The limit is not reached in a hundred years: doubt the film, not the leaf.")
    if data.activation_j_mol == 0.0:
        said.append("The film's permeance is taken as the same at every temperature.")
    said.append("Pinholes and bad seals are not in a film's figure; test closed packs.")
    return said


def run(data: Input) -> Output:
    """Compute the door."""
    from wareleaf import leaf, pack

    isotherm, climates = _isotherm(data), _climates(data)
    limit = data.moisture_db_limit
    if limit is None:
        assert data.leaf is not None
        limit = basis.moisture_db_from_wb(leaf.profile(data.leaf).moisture_wb_store_limit)
    permeance = pack.permeance_g_m2_day_pa(
        data.wvtr_g_m2_day, data.wvtr_at.temperature_c, data.wvtr_at.relative_humidity_difference
    )
    common: dict[str, Any] = {
        "isotherm": isotherm,
        "dry_matter_kg": data.dry_matter_kg,
        "moisture_db_start": data.moisture_db_start,
        "moisture_db_limit": limit,
        "area_m2": data.area_m2,
        "permeance_temperature_c": data.wvtr_at.temperature_c,
        "activation_j_mol": data.activation_j_mol,
        "desiccant": _desiccant(data),
    }

    def life(factor: float) -> ShelfLife:
        whole = pack.Pack(permeance_g_m2_day_pa=permeance * factor, **common)
        return pack.shelf_life(whole, climates)

    found = life(1.0)
    spread = data.wvtr_relative_standard_uncertainty
    return Output(
        days=found.days,
        days_low=life(1.0 + spread).days if spread else None,
        days_high=life(1.0 - spread).days if spread else None,
        limiting=found.limiting,  # type: ignore[arg-type]
        water_gained_g=found.water_gained_g,
        moisture_db_limit=limit,
        series=[
            Point(
                days=day,
                moisture_db=x,
                moisture_wb=basis.moisture_wb_from_db(x),
                water_activity=aw,
                temperature_c=t,
            )
            for day, x, aw, t in zip(
                found.series_days,
                found.series_moisture_db,
                found.series_water_activity,
                found.series_temperature_c,
                strict=True,
            )
        ],
        sources=[
            "Permeance balance of a closed pack (standard textbook equation, memory).",
            *isotherm.sources,
        ],
        warnings=[*isotherm.warnings, *_warnings(data, found)],
    )
