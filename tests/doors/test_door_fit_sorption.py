"""The fit-sorption door: ranked fits that the sorption door can take up again."""

import numpy as np
import pytest

from wareleaf.leaf.models import MODELS
from wareleaf.measure import BadInput
from wareleaf.works import doors

AW = [0.11, 0.23, 0.33, 0.43, 0.53, 0.65, 0.75, 0.84]


def points(t=(25.0,), seed=2, noise=0.0):
    rng = np.random.default_rng(seed)
    found = []
    for celsius in t:
        for aw in AW:
            db = MODELS["gab"].moisture_db(aw, celsius, monolayer_db=0.07, c=12.0, k=0.9)
            db *= 1.0 + noise * rng.standard_normal()
            found.append({"water_activity": aw, "moisture_db": db, "temperature_c": celsius})
    return found


def test_gab_points_give_gab_back():
    out = doors.call("fit-sorption", {"points": points(), "models": ["gab", "peleg"]})
    assert out["best"] == "gab" == out["fits"][0]["model"]
    best = out["fits"][0]["parameters"]
    assert best["monolayer_db"]["value"] == pytest.approx(0.07, rel=1e-6)
    assert best["c"]["value"] == pytest.approx(12.0, rel=1e-5)
    assert best["k"]["value"] == pytest.approx(0.9, rel=1e-6)
    assert out["sources"]
    assert any("held" in w for w in out["warnings"])


def test_all_models_rank_by_aicc_and_residuals_add_up():
    given = points((20.0, 35.0), noise=0.02)
    out = doors.call("fit-sorption", {"points": given})
    assert len(out["fits"]) == 6
    assert [f["aicc"] for f in out["fits"]] == sorted(f["aicc"] for f in out["fits"])
    for fit in out["fits"]:
        total = np.array(fit["predicted"]) + np.array(fit["residuals"])
        assert total == pytest.approx([p["moisture_db"] for p in given])
        assert all(
            p["standard_error"] is None or p["standard_error"] > 0.0
            for p in fit["parameters"].values()
        )


@pytest.mark.slow
def test_the_sorption_door_takes_the_constants():
    for fit in doors.call("fit-sorption", {"points": points((20.0, 35.0), noise=0.02)})["fits"]:
        given = {"model": fit["model"], "parameters": fit["constants"], "temperature_c": 20.0}
        again = doors.call("sorption", {**given, "water_activity": AW[3]})
        assert again["moisture_db"] == pytest.approx(fit["predicted"][3], rel=1e-9)


def test_models_that_the_points_cannot_carry_are_left_out_and_named():
    out = doors.call("fit-sorption", {"points": points()[:4]})
    assert {"gab", "modified_oswin"} <= {f["model"] for f in out["fits"]}
    assert "peleg" not in {f["model"] for f in out["fits"]}
    assert any("Left out" in w and "peleg" in w for w in out["warnings"])


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({"points": points()[:3], "models": ["gab"]}, "points"),
        ({"points": [points()[0]] * 5, "models": ["gab"]}, "points"),
        ({"points": [], "models": ["gab"]}, "points"),
        ({"points": points(), "models": ["bet"]}, "models.0"),
        ({"points": points(), "models": []}, "models"),
        (
            {"points": [*points(), {"water_activity": 1.2, "moisture_db": 1, "temperature_c": 25}]},
            "points.8.water_activity",
        ),
        (
            {
                "points": [
                    *points(),
                    {"water_activity": 0.9, "moisture_db": float("nan"), "temperature_c": 25},
                ]
            },
            "points.8.moisture_db",
        ),
        ({"points": [{"aw": 0.3}]}, "points.0.aw"),
        ({"points": points(), "branch": "adsorption"}, "branch"),
    ],
)
def test_bad_input_is_refused_by_field(data, field):
    with pytest.raises(BadInput) as refused:
        doors.call("fit-sorption", data)
    assert field in [p.field for p in refused.value.problems]
