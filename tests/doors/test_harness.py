"""The doors as a stranger meets them: on the command line, with good and bad input."""

import json
import subprocess
import sys

import pytest

from wareleaf.measure import BadInput
from wareleaf.works import doors


def calc(*args: str, stdin: str = "") -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, "-m", "wareleaf", "calc", *args],
        input=stdin,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout


def test_moisture_door_answers_over_the_shell():
    code, out = calc("moisture", stdin='{"moisture_wb": 0.8, "mass_kg": 10, "to_moisture_wb": 0.5}')
    answer = json.loads(out)
    assert code == 0
    assert answer["moisture_db"] == pytest.approx(4.0)
    assert answer["mass_out_kg"] == pytest.approx(4.0)
    assert answer["water_removed_kg"] == pytest.approx(6.0)
    assert answer["drying_ratio"] == pytest.approx(2.5)


@pytest.mark.parametrize(
    ("stdin", "field"),
    [
        ('{"moisture_wb": 1.3}', "moisture_wb"),
        ('{"moisture_wb": 0.3, "colour": 1}', "colour"),
        ('{"moisture_wb": NaN}', "input"),
        ("not json", "input"),
        ("[1]", "input"),
    ],
)
def test_bad_input_is_one_json_object_and_exit_2(stdin, field):
    code, out = calc("moisture", stdin=stdin)
    assert code == 2
    assert field in [e["field"] for e in json.loads(out)["error"]]


@pytest.mark.parametrize("name", doors.door_names())
def test_every_door_has_a_summary_and_a_schema(name):
    assert doors.summary(name)
    schema = doors.schema(name)
    assert schema["input"]["additionalProperties"] is False
    assert {"sources", "warnings"} <= set(schema["output"]["properties"])


def test_an_unknown_door_names_the_known_ones():
    with pytest.raises(BadInput, match="moisture"):
        doors.call("weather-wish", {})


@pytest.mark.parametrize(
    ("name", "given", "field", "message"),
    [
        (
            "humid-air",
            {"dry_bulb_c": 20.0, "relative_humidity": 60},
            "relative_humidity",
            "relative_humidity is 60; it must be at most 1.",
        ),
        (
            "humid-air",
            {"dry_bulb_c": "warm", "relative_humidity": 0.6},
            "dry_bulb_c",
            "dry_bulb_c is 'warm'; it must be a number.",
        ),
        (
            "fit-trial",
            {"trial": {"stage": "mill", "feed_um": "fine", "product_um": [1], "work_kj_kg": [1]}},
            "trial.feed_um",
            "trial.feed_um is 'fine'; it must be a list.",
        ),
        (
            "lethality",
            {"time_s": [0.0], "temperature_c": [90.0], "reference_c": 90.0, "z_k": 10.0},
            "time_s",
            "time_s has 1 entries; it needs 2.",
        ),
        (
            "sorption",
            {"leaf": "tea_black", "temperature_c": 20.0, "moisture_db": 0.1, "branch": "both"},
            "branch",
            "branch is 'both'; it must be 'adsorption' or 'desorption'.",
        ),
    ],
)
def test_a_refusal_names_field_value_and_what_would_do(name, given, field, message):
    with pytest.raises(BadInput) as refused:
        doors.call(name, given)
    assert (refused.value.problems[0].field, refused.value.problems[0].message) == (field, message)
