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


@pytest.mark.slow
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


def test_salty_leaf_goes_from_points_to_constants_and_back():
    """Points of raw kelp across the step of its salts; the sorption door takes them up."""
    salts = {"salt_nacl_fraction": 0.06, "salt_kcl_fraction": 0.12}
    peleg = {"c1": 0.24, "c2": 0.95, "c3": 0.8, "c4": 16.0}
    bare = {"model": "peleg", "parameters": peleg, "temperature_c": 25.0, **salts}
    seen = [
        {
            "water_activity": aw,
            "moisture_db": doors.call("sorption", {**bare, "water_activity": aw})["moisture_db"],
            "temperature_c": 25.0,
        }
        for aw in [*AW, 0.8, 0.9]
    ]
    kelp = {"leaf": "sugar_kelp_raw", "temperature_c": 25.0, "branch": "adsorption"}
    for point in seen:
        same = doors.call("sorption", {**kelp, "water_activity": point["water_activity"]})
        assert point["moisture_db"] == pytest.approx(same["moisture_db"], rel=1e-12)
    out = doors.call("fit-sorption", {"points": seen, "models": ["peleg"], **salts})
    assert out["fits"][0]["constants"]["c1"] == pytest.approx(0.24, rel=1e-5)
    assert any("same shares of salt" in w for w in out["warnings"])
    assert any("Wexler" in s for s in out["sources"])
    again = {**bare, "parameters": out["fits"][0]["constants"], "moisture_db": 0.55}
    wet = doors.call("sorption", again)
    whole = doors.call("sorption", {**kelp, "moisture_db": 0.55})
    assert wet["water_activity"] == pytest.approx(whole["water_activity"], rel=1e-5)
    plain = doors.call("fit-sorption", {"points": seen, "models": ["peleg"]})
    assert any("No salt was given" in w for w in plain["warnings"])
    assert plain["fits"][0]["rmse"] > 10.0 * out["fits"][0]["rmse"]


def test_moistures_in_percent_are_noticed():
    percent = [{**p, "moisture_db": 100.0 * p["moisture_db"]} for p in points()]
    out = doors.call("fit-sorption", {"points": percent, "models": ["gab"]})
    assert any("divided by 100" in w for w in out["warnings"])
    right = doors.call("fit-sorption", {"points": points(), "models": ["gab"]})
    assert not any("divided by 100" in w for w in right["warnings"])
