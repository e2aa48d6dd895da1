"""The blend door: a published case, an impossible order, and bad input."""

import json
import subprocess
import sys

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors

# "Hilltop" coffee blend, textbook LP, as in the project's tea notes section 8: cost 550.
HILLTOP = {
    "lots": [
        {
            "id": "1",
            "available_kg": 500,
            "cost_per_kg": 0.5,
            "properties": {"aroma": 75, "taste": 86},
        },
        {
            "id": "2",
            "available_kg": 600,
            "cost_per_kg": 0.7,
            "properties": {"aroma": 85, "taste": 88},
        },
        {
            "id": "3",
            "available_kg": 400,
            "cost_per_kg": 0.45,
            "properties": {"aroma": 60, "taste": 75},
        },
    ],
    "orders": [
        {"id": "A", "mass_kg": 1000, "limits": {"aroma": {"min": 75}, "taste": {"min": 80}}},
    ],
}


def test_hilltop_through_the_door():
    out = doors.call("blend", HILLTOP)
    assert out["cost"] == pytest.approx(550.0)
    assert out["bound"] == pytest.approx(550.0)
    assert out["gap"] == 0.0 and out["infeasible"] is None
    assert {d["lot"]: d["mass_kg"] for d in out["draws"]} == pytest.approx(
        {"1": 500.0, "2": 300.0, "3": 200.0}
    )
    assert {d["order"] for d in out["draws"]} == {"A"}
    assert out["properties"]["A"] == pytest.approx({"aroma": 75.0, "taste": 84.4})


def test_an_impossible_order_names_its_limits():
    order = {"id": "A", "mass_kg": 1000, "limits": {"aroma": {"min": 82}, "taste": {"min": 80}}}
    out = doors.call("blend", {**HILLTOP, "orders": [order]})
    assert out["draws"] == [] and out["cost"] is None
    limits = {(x["order"], x["limit"]) for x in out["infeasible"]["limits"]}
    assert limits == {("A", "aroma min"), ("A", "mass_kg")}
    assert "aroma at least 82" in out["infeasible"]["message"]


def test_few_lots_and_least_draws():
    order = {**HILLTOP["orders"][0], "max_lots": 2, "min_draw_kg": 100}
    out = doors.call("blend", {**HILLTOP, "orders": [order]})
    assert out["cost"] == pytest.approx(600.0)
    assert len(out["draws"]) == 2


def test_the_solver_prints_nothing_into_the_answer():
    done = subprocess.run(
        [sys.executable, "-m", "wareleaf", "calc", "blend"],
        input=json.dumps(HILLTOP),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert json.loads(done.stdout)["cost"] == pytest.approx(550.0)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"lots": []}, "lots"),
        ({"orders": [{"id": "A", "mass_kg": -1}]}, "orders.0.mass_kg"),
        (
            {"orders": [{"id": "A", "mass_kg": 1, "limits": {"x": {"min": 2}}}]},
            "orders[0].limits.x",
        ),
        ({"colour": 1}, "colour"),
    ],
)
def test_bad_input_is_named(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("blend", {**HILLTOP, **change})
    assert field in [p.field for p in caught.value.problems]
