"""Wet and dry basis moisture, the dry matter in a mass, and what is left at another moisture."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from wareleaf.measure import basis
from wareleaf.works.doors import DoorInput, DoorOutput


class Input(DoorInput):
    """One moisture, on either basis; with a mass and a target it also says what is removed."""

    moisture_wb: float | None = Field(None, ge=0.0, lt=1.0)
    moisture_db: float | None = Field(None, ge=0.0)
    mass_kg: float | None = Field(None, ge=0.0)
    to_moisture_wb: float | None = Field(None, ge=0.0, lt=1.0)
    to_moisture_db: float | None = Field(None, ge=0.0)

    @model_validator(mode="after")
    def _one_of_each(self) -> Self:
        if (self.moisture_wb is None) == (self.moisture_db is None):
            raise ValueError("give exactly one of moisture_wb and moisture_db")
        if self.to_moisture_wb is not None and self.to_moisture_db is not None:
            raise ValueError("give at most one of to_moisture_wb and to_moisture_db")
        return self


class Output(DoorOutput):
    """Both bases; masses where they can be known."""

    moisture_wb: float
    moisture_db: float
    dry_matter_kg: float | None = None
    water_kg: float | None = None
    mass_out_kg: float | None = None
    water_removed_kg: float | None = None
    drying_ratio: float | None = None


def run(data: Input) -> Output:
    """Compute the door."""
    if data.moisture_wb is not None:
        wb = data.moisture_wb
    else:
        assert data.moisture_db is not None
        wb = basis.moisture_wb_from_db(data.moisture_db)
    db = basis.moisture_db_from_wb(wb)
    out = Output(moisture_wb=wb, moisture_db=db, sources=["Definition of wet and dry basis."])
    to_wb = data.to_moisture_wb
    if data.to_moisture_db is not None:
        to_wb = basis.moisture_wb_from_db(data.to_moisture_db)
    if to_wb is not None:
        out.drying_ratio = (1.0 - to_wb) / (1.0 - wb)
    if data.mass_kg is not None:
        out.dry_matter_kg = basis.dry_matter_kg(data.mass_kg, wb)
        out.water_kg = basis.water_kg(data.mass_kg, wb)
        if to_wb is not None:
            out.mass_out_kg = basis.mass_at_moisture_kg(data.mass_kg, wb, to_wb)
            out.water_removed_kg = data.mass_kg - out.mass_out_kg
            if out.water_removed_kg < 0.0:
                out.warnings.append("The target is wetter than the start: water is added.")
    return out
