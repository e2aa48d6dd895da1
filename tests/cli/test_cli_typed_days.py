"""Days and small amounts as people type them."""

import pytest

from wareleaf.cli.typed import days
from wareleaf.measure import BadInput
from wareleaf.measure.units import parse_mass_kg


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("14", 14.0), ("14 d", 14.0), ("14d", 14.0), ("2 weeks", 14.0), ("0", 0.0), ("1,5 days", 1.5)],
)
def test_days(typed, meant):
    assert days(typed, "interval_days") == meant


@pytest.mark.parametrize("typed", ["two weeks", "14 h", "", "d", "1.2.3"])
def test_what_is_no_number_of_days(typed):
    with pytest.raises(BadInput, match="interval_days"):
        days(typed, "interval_days")


@pytest.mark.parametrize(("typed", "meant"), [(".1", 0.1), (",5 kg", 0.5), ("-.25", -0.25)])
def test_a_mass_may_begin_with_its_point(typed, meant):
    assert parse_mass_kg(typed) == pytest.approx(meant)


@pytest.mark.parametrize("typed", [".", "kg", "1..2", ".."])
def test_a_point_alone_is_no_mass(typed):
    with pytest.raises(BadInput):
        parse_mass_kg(typed)
