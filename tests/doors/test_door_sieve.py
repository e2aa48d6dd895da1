"""The sieve door: grades, a wanted share, bad input."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

LOAD = {
    "mass_kg": 480,
    "feed": {"kind": "log_normal", "size_mm": 1.4, "spread": 0.55},
    "decks": [
        {"grade": "whole", "aperture_mm": 2.8},
        {"grade": "broken", "aperture_mm": 1.18},
        {"grade": "fannings", "aperture_mm": 0.6},
    ],
}


def test_grades_and_dust_add_up():
    out = doors.call("sieve", LOAD)
    assert [g["name"] for g in out["grades"]] == ["whole", "broken", "fannings", "dust"]
    assert sum(g["mass_kg"] for g in out["grades"]) + out["dust_kg"] == pytest.approx(480)
    assert out["mass_residual"] < 1e-12


def test_a_wanted_share_finds_the_aperture():
    out = doors.call("sieve", LOAD | {"aim_grade": "broken", "aim_share": 0.5})
    assert out["reachable"] is True
    assert out["grades"][1]["share"] == pytest.approx(0.5, abs=1e-6)
    assert 0.6 < out["aperture_mm"] < 2.8


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"mass_kg": -1}, "mass_kg"),
        ({"moisture_wb": 1.3}, "moisture_wb"),
        ({"decks": []}, "decks"),
        (
            {"decks": [{"grade": "a", "aperture_mm": 1}, {"grade": "b", "aperture_mm": 2}]},
            "aperture_mm",
        ),
        ({"feed": {"kind": "flat", "size_mm": 1, "spread": 1}}, "feed.kind"),
        ({"aim_share": 0.5}, "aim_share"),
        ({"aim_grade": "gold", "aim_share": 0.5}, "grade"),
    ],
)
def test_bad_input_names_its_field(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("sieve", LOAD | change)
    assert field in [p.field for p in caught.value.problems]
