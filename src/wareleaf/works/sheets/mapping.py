"""The mapping file: which sheet is which job, and which column is which field."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from wareleaf.measure.errors import BadInput, Problem
from wareleaf.works.settings.read import line_of
from wareleaf.works.sheets.fields import FIELDS, SETTING, UNITS, field_of

MAX_BYTES = 1_000_000


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Column(_Table):
    """Where a field stands in a sheet, and how it is written there."""

    column: str | list[str]
    unit: str = ""
    format: str = Field("", description="Of a time, such as %d.%m.%Y %H:%M.")

    @property
    def names(self) -> tuple[str, ...]:
        """The headings; a time may stand in two columns."""
        return (self.column,) if isinstance(self.column, str) else tuple(self.column)


class SheetMap(_Table):
    """One sheet.

    ``columns`` says where each field stands, ``same`` what is the same on every row, ``words`` how
    the sheet's own words for a field are called in the settings. One file may be mapped twice,
    as different jobs.
    """

    file: str = Field(min_length=1)
    job: Literal["intake", "stage", "reading", "result", "shipment"]
    worksheet: str = ""
    who: str = ""
    encoding: str = "utf-8"
    delimiter: str = Field("", max_length=1)
    decimal: Literal[".", ","] = "."
    time_format: str = "%Y-%m-%d %H:%M"
    only_with: str = Field("", description="Rows where this field is blank are passed over.")
    columns: dict[str, Column]
    same: dict[str, str | float] = {}
    words: dict[str, dict[str, str]] = {}

    @model_validator(mode="before")
    @classmethod
    def _short_columns(cls, data: Any) -> Any:
        """A plain heading, or a list of two, is a column without more to say."""
        if isinstance(data, dict) and isinstance(data.get("columns"), dict):
            wide = {
                name: {"column": c} if isinstance(c, str | list) else c
                for name, c in data["columns"].items()
            }
            data = {**data, "columns": wide}
        return data

    @model_validator(mode="after")
    def _fields_exist(self) -> SheetMap:
        for name, column in self.columns.items():
            field = field_of(self.job, name)
            if field is None:
                raise ValueError(f"@columns.{name}@{self._unknown(name)}")
            allowed = UNITS.get(field.kind, ())
            if column.unit and column.unit not in allowed:
                raise ValueError(
                    f"@columns.{name}@unit is {column.unit!r}; for {name} it must be "
                    f"{' or '.join(allowed) or 'left out'}"
                )
        for name in self.same:
            if field_of(self.job, name) is None:
                raise ValueError(f"@same.{name}@{self._unknown(name)}")
            if name in self.columns:
                raise ValueError(f"@same.{name}@{name} is in [sheet.columns] too; choose one")
        if self.only_with and self.only_with not in self.columns:
            raise ValueError(f"@only_with@{self.only_with} is not in [sheet.columns]")
        for name in self.words:
            if name not in self.columns:
                raise ValueError(f"@words.{name}@{name} is not in [sheet.columns]")
        for name, field in FIELDS[self.job].items():
            if field.needed and name not in self.columns and name not in self.same:
                raise ValueError(
                    f"@columns@{name} is missing ({field.meaning}); name its column, or give it "
                    "under [sheet.same]"
                )
        return self

    def _unknown(self, name: str) -> str:
        more = f", {SETTING}... for settings of the machine" if self.job == "stage" else ""
        return f"{self.job} has no field {name}; there are: {', '.join(FIELDS[self.job])}{more}"


class SheetsMap(_Table):
    """The whole file."""

    sheet: list[SheetMap] = Field(min_length=1)


def read_mapping(path: Path) -> SheetsMap:
    """Read and check a mapping file.

    Raises
    ------
    BadInput
        With one problem a mistake, by line and field.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise BadInput("mapping", str(path), f"{path} is larger than 1 MB; is it a mapping?")
        text = path.read_text("utf-8")
        table = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise BadInput("mapping", str(path), f"{path} is not UTF-8 text ({error}).") from error
    except OSError as error:
        raise BadInput("mapping", str(path), f"{path} cannot be read: {error.strerror}.") from error
    except tomllib.TOMLDecodeError as error:
        raise BadInput("mapping", str(path), f"{path} is not TOML: {error}.") from error
    try:
        return SheetsMap.model_validate(table)
    except ValidationError as error:
        raise BadInput.of(_problems(error, text, path)) from error


def _problems(error: ValidationError, text: str, path: Path) -> list[Problem]:
    found = []
    for item in error.errors(include_url=False):
        place = [str(p) for p in item["loc"]]
        message = item["msg"].removeprefix("Value error, ")
        if message.startswith("@"):
            _, where, message = message.split("@", 2)
            place += where.split(".")
        elif item["type"] == "missing":
            message = "is missing; it is required"
        elif item["type"] == "extra_forbidden":
            message = "is not known here"
        field = ".".join(place) or "mapping"
        line = line_of(text, place)
        found.append(Problem(field, None, f"{path}, line {line}, {field}: {message}."))
    return found
