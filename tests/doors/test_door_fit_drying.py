"""The fit-drying door: ranked curves, diffusivity, and refusals by field."""

import numpy as np
import pytest

from wareleaf.leaf.fit_thin_layer import slab_moisture_ratio
from wareleaf.measure import BadInput
from wareleaf.works import doors

HOURS = np.linspace(0.0, 6.0, 25).tolist()


def run(rate=0.25, end=0.1, noise=0.0):
    ratio = np.asarray(slab_moisture_ratio(rate * np.array(HOURS)))
    off = noise * np.random.default_rng(4).standard_normal(ratio.size)
    return (end + 8.9 * ratio + off).tolist()


def call(**data):
    return doors.call("fit-drying", {"time_h": HOURS, **data})


def test_the_slab_gives_its_diffusivity_back():
    """D = rate L^2: 0.25/h on a half thickness of 1 mm is 6.94e-11 m2/s."""
    out = call(moisture_db=run(), equilibrium_moisture_db=0.1, half_thickness_m=1e-3)
    assert out["best"] == "diffusion_slab"
    assert out["effective_diffusivity_m2_s"] == pytest.approx(0.25e-6 / 3600.0, rel=1e-8)
    assert any("thickness" in w for w in out["warnings"])


def test_diffusivity_comes_even_when_the_slab_was_not_asked_for():
    out = call(
        moisture_db=run(), equilibrium_moisture_db=0.1, half_thickness_m=1e-3, models=["lewis"]
    )
    assert [f["model"] for f in out["fits"]] == ["lewis"]
    assert out["effective_diffusivity_m2_s"] == pytest.approx(0.25e-6 / 3600.0, rel=1e-8)


def test_seven_curves_ranked_with_errors():
    out = call(moisture_db=run(noise=0.02), equilibrium_moisture_db=0.1, half_thickness_m=1e-3)
    assert len(out["fits"]) == 7
    assert [f["aicc"] for f in out["fits"]] == sorted(f["aicc"] for f in out["fits"])
    slab = next(f for f in out["fits"] if f["model"] == "diffusion_slab")
    error = out["effective_diffusivity_standard_error_m2_s"]
    assert abs(slab["effective_diffusivity_m2_s"] - 0.25e-6 / 3600.0) < 4.0 * error
    assert slab["rmse_moisture_ratio"] == pytest.approx(slab["rmse"] / (run(noise=0.02)[0] - 0.1))


def test_equilibrium_left_out_is_said_and_can_be_fitted():
    plain = call(moisture_db=run(), models=["diffusion_slab"])
    assert any("taken as 0" in w for w in plain["warnings"])
    free = call(moisture_db=run(), models=["diffusion_slab"], fit_equilibrium=True)
    fitted = free["fits"][0]["parameters"]["equilibrium_moisture_db"]["value"]
    assert fitted == pytest.approx(0.1, abs=1e-4)


def test_few_readings_leave_the_rich_curves_out():
    out = doors.call("fit-drying", {"time_h": [0, 1, 2], "moisture_db": [5, 3, 2]})
    assert {f["model"] for f in out["fits"]} == {
        "lewis",
        "page",
        "henderson_pabis",
        "diffusion_slab",
    }
    assert any("Left out" in w and "midilli" in w for w in out["warnings"])


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({"time_h": [0, 1, 2], "moisture_db": [2, 2, 2]}, "moisture_db"),
        ({"time_h": [0, 2, 1], "moisture_db": [3, 2, 1]}, "time_h"),
        ({"time_h": [0, 1], "moisture_db": [3, 2, 1]}, "moisture_db"),
        ({"time_h": [0, 1, 2], "moisture_db": [3, 2, -1]}, "moisture_db"),
        ({"time_h": [0, 1, 2], "moisture_db": [3, 2, float("nan")]}, "moisture_db.2"),
        ({"time_h": [0, 1, 2], "moisture_db": [3, 2, 1], "models": ["midilli"]}, "moisture_db"),
        ({"time_h": [0, 1, 2], "moisture_db": [3, 2, 1], "models": ["verma"]}, "models.0"),
        (
            {"time_h": [0, 1, 2], "moisture_db": [3, 2, 1], "half_thickness_m": 0},
            "half_thickness_m",
        ),
        (
            {"time_h": [0, 1, 2], "moisture_db": [3, 2, 1], "equilibrium_moisture_db": 3},
            "equilibrium_moisture_db",
        ),
        (
            {
                "time_h": [0, 1, 2],
                "moisture_db": [3, 2, 1],
                "equilibrium_moisture_db": 0.1,
                "fit_equilibrium": True,
            },
            "equilibrium_moisture_db",
        ),
        ({"time_h": [0, 1, 2], "moisture_db": [3, 2, 1], "colour": "green"}, "colour"),
        ({"time_h": [0, 1, 2]}, "moisture_db"),
    ],
)
def test_bad_input_is_refused_by_field(data, field):
    with pytest.raises(BadInput) as refused:
        doors.call("fit-drying", data)
    assert field in [p.field for p in refused.value.problems]
