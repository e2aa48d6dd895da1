"""The day-plan door: a small day, an overloaded one, a breakdown, and bad input."""

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors


def load(name, **more):
    fields = {
        "id": name,
        "leaf": "kelp",
        "mass_kg": 800,
        "ready_h": 0,
        "value_per_kg": 1.0,
        "hold_h": 2,
        "spoil_h": 6,
        "divert_price_per_kg": 0.5,
        "route": [
            {"name": "blanch", "options": [{"machine_id": "bath", "duration_h": 0.1}]},
            {
                "name": "dry",
                "flows": True,
                "options": [{"stage": "dryer", "duration_h": 1.0}],
            },
        ],
    }
    return {**fields, **more}


DAY = {
    "loads": [load("a"), load("b", ready_h=1)],
    "machines": [
        {"id": "bath", "stage": "blanch", "rate_kg_h": 800},
        {
            "id": "dryer 1",
            "stage": "dryer",
            "rate_kg_h": 400,
            "warm_up_h": 1,
            "warm_up_price": 30,
            "fire_price_per_h": 5,
        },
        {"id": "dryer 2", "stage": "dryer", "rate_kg_h": 400},
    ],
    "horizon_h": 24,
    "time_limit_s": 1.5,
}


def test_a_small_day():
    out = doors.call("day-plan", DAY)
    assert out["mass_out_kg"] == 0.0
    assert len(out["runs"]) == 4 and len(out["decisions"]) == 2
    assert out["bound"] <= out["cost"] + 1e-6
    assert out["cost"] == pytest.approx(sum(out["cost_items"].values()))
    assert out["standing"] in ("proved best", "best found, bound, not proved")
    assert out["limiting"] and {g["name"] for g in out["limits"]} == {"blanch", "dryer"}


def test_an_overloaded_day_has_reasons_and_no_room():
    loads = [load(f"load {k}", mass_kg=3000) for k in range(4)]
    ask = [{"like_load_id": "load 0", "at_h": 0.0}]
    out = doors.call("day-plan", {**DAY, "loads": loads, "room": ask})
    gone = [d for d in out["decisions"] if d["outcome"] == "divert"]
    assert gone and all("is diverted" in d["sentence"] for d in gone)
    assert out["room"][0]["certain_kg"] == 0.0


def test_a_breakdown_is_planned_around():
    broken = {"machine_id": "dryer 2", "from_h": 1.5, "until_h": 20, "now_h": 1.5}
    out = doors.call("day-plan", {**DAY, "breakdown": broken})
    late = [r for r in out["runs"] if r["machine_id"] == "dryer 2"]
    assert late == []
    assert out["moves"] or out["lightings"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"loads": [load("a", mass_kg=-3)]}, "loads[0].mass_kg"),
        ({"horizon_h": -1}, "horizon_h"),
        ({"weather": "fine"}, "weather"),
        ({"room": [{"like_load_id": "none", "at_h": 1}]}, "room.0.like_load_id"),
        (
            {
                "loads": [
                    load("a", route=[{"name": "dry", "options": [{"duration_h": 1.0}]}]),
                ]
            },
            "loads.0.route.0.options.0",
        ),
    ],
)
def test_bad_input_is_named(change, field):
    with pytest.raises(BadInput) as caught:
        doors.call("day-plan", {**DAY, **change})
    assert field in [p.field for p in caught.value.problems]
