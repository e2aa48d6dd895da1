"""The validation page: every case with its source, tolerance, result and whether it holds."""
