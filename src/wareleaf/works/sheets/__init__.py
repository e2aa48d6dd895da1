"""Sheets such as a works keeps: read them, map their columns, tell every bad cell by its place."""

from wareleaf.works.sheets.fields import FIELDS, JOBS
from wareleaf.works.sheets.mapping import SheetMap, SheetsMap, read_mapping
from wareleaf.works.sheets.rows import Row, read_rows

__all__ = ["FIELDS", "JOBS", "Row", "SheetMap", "SheetsMap", "read_mapping", "read_rows"]
