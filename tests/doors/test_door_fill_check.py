"""The fill-check door."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.doors import call

GOOD = {"nominal_g": 500, "lot_size": 400, "net_g": [501.0, 503.0] * 25}


def test_good_run():
    # OIML R 87 (memory): T 15 g at 500 g, n 50, k .379, three packs beyond T allowed.
    out = call("fill-check", GOOD)
    assert out["tolerable_deficiency_g"] == 15.0
    assert out["mean_error_g"] == pytest.approx(2.0)
    assert out["mean_test"] == "pass"
    assert (out["t1_count"], out["t1_allowed"], out["t2_count"]) == (0, 3, 0)
    assert out["decision"] == "accept"
    assert len(out["steps"]) == 7
    assert any("memory" in w for w in out["warnings"])


def test_short_run_is_refused():
    out = call("fill-check", GOOD | {"net_g": [496.0, 498.0] * 25})
    assert out["mean_test"] == "fail"
    assert out["decision"] == "reject"


def test_millilitres():
    data = {"nominal_ml": 500, "lot_size": 400, "net_g": [451.0, 453.0] * 25}
    out = call("fill-check", data | {"density_g_ml": 0.9})
    assert out["tolerable_deficiency_g"] == pytest.approx(13.5)
    assert out["mean_error_g"] == pytest.approx(2.0)
    assert out["decision"] == "accept"
    assert call("fill-check", data)["decision"] == "reject"


@pytest.mark.parametrize(
    "change",
    [
        {"net_g": [500.0] * 10},
        {"net_g": []},
        {"net_g": [-1.0] * 50},
        {"nominal_ml": 500},
        {"nominal_g": 0},
        {"lot_size": 0},
        {"scheme": "house"},
        {"density_g_ml": 1.0},
    ],
)
def test_bad_input(change):
    with pytest.raises(BadInput):
        call("fill-check", GOOD | change)
