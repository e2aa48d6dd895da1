"""The page of a fit: pictures of curve and residuals, and what the residuals look like."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from wareleaf.cli.commands.calc import command
from wareleaf.measure import BadInput
from wareleaf.works import doors, fit_page

HOURS = [0.25 * i for i in range(17)]
RUN = {
    "time_h": HOURS,
    # Page's curve with n of 1.4: an exponential bows away from it.
    "moisture_db": [4.0 * float(np.exp(-0.7 * h**1.4)) + 0.01 * (-1) ** i
                    for i, h in enumerate(HOURS)],
    "equilibrium_moisture_db": 0.0,
    "models": ["lewis", "page"],
}  # fmt: skip


def test_a_bow_is_told_from_noise():
    rng = np.random.default_rng(5)
    noise = [fit_page.looks(rng.standard_normal(40).tolist()) for _ in range(1000)]
    assert sum("bows away" in told for told in noise) < 25  # about ten, by the normal deviate
    assert "bows away" in fit_page.looks(np.sin(np.linspace(0.0, 6.0, 40)).tolist())
    assert "Too few" in fit_page.looks([0.1, -0.1, 0.2])


def test_the_page_shows_every_fit_with_its_errors():
    found = doors.call("fit-drying", RUN)
    text = fit_page.as_html("fit-drying", RUN, found)
    assert text.count("<svg ") == 2 * len(found["fits"]) == 4
    assert text.index("<h2>page") < text.index("<h2>lewis")
    assert "bows away" in text[text.index("<h2>lewis") :]
    assert "http" not in text.replace("http://www.w3.org", "")


def test_readings_and_residuals_stand_where_they_belong():
    found = doors.call("fit-drying", RUN)
    fit = found["fits"][0]
    curve, left = fit_page.plots("fit-drying", RUN, fit)
    assert curve.points["read"] == list(zip(HOURS, RUN["moisture_db"], strict=True))
    seen = dict(left.points["read less fit"])
    at = HOURS[5]
    assert seen[at] == pytest.approx(RUN["moisture_db"][5] - fit["predicted"][5])
    assert left.lines["+2 sd"][0][1] == pytest.approx(2.0 * fit["residual_sd"])


def test_trials_at_several_temperatures_are_told_apart():
    trial = {"stage": "loss", "what": "vitamin_c", "leaf_c": [50, 50, 70, 70],
             "hours": [2.0, 4.0, 1.0, 2.0], "kept": [0.9, 0.8, 0.7, 0.5]}  # fmt: skip
    data = {"trial": trial}
    found = doors.call("fit-trial", data)
    curve, left = fit_page.plots("fit-trial", data, found["fits"][0])
    assert set(curve.points) == {"read, 50 degC", "read, 70 degC"}
    assert curve.points["read, 70 degC"] == [(1.0, 0.7), (2.0, 0.5)]
    assert sum(len(v) for v in left.points.values()) == 4
    assert "share left" in fit_page.as_html("fit-trial", data, found)


def test_rates_are_shown_as_they_were_fitted():
    data = {"trial": {"stage": "rates", "temperature_c": [40, 55, 70], "rate": [0.5, 0.9, 1.7]}}
    fit = doors.call("fit-trial", data)["fits"][0]
    curve, _ = fit_page.plots("fit-trial", data, fit)
    assert curve.points["read"][0] == (40, pytest.approx(np.log(0.5)))


def test_points_of_two_temperatures_are_told_apart():
    points = [
        {"water_activity": a, "moisture_db": 0.1 * a / (1.05 - a) * f, "temperature_c": t}
        for t, f in ((20.0, 1.0), (40.0, 0.9))
        for a in (0.1, 0.3, 0.5, 0.7, 0.85)
    ]
    data = {"points": points, "models": ["gab"]}
    curve, _ = fit_page.plots(
        "fit-sorption", data, doors.call("fit-sorption", data)["fits"][0]
    )  # fmt: skip
    assert list(curve.points) == ["read, 20 degC", "read, 40 degC"]


def test_the_command_writes_the_page_beside_the_numbers(tmp_path):
    source, page = tmp_path / "run.json", tmp_path / "residuals.html"
    source.write_text(json.dumps(RUN))
    done = CliRunner().invoke(
        command, ["fit-drying", "--input", str(source), "--plot", str(page)]
    )  # fmt: skip
    assert done.exit_code == 0
    assert json.loads(done.output)["best"] == "page"
    assert "<svg " in page.read_text("utf-8")


def test_a_trial_has_its_page():
    points = {"feed_um": [5000, 4000, 3000], "product_um": [500, 300, 200]}
    trial = {"trial": {"stage": "mill", **points, "work_kj_kg": [34.8, 49.1, 60.2]}}
    text = fit_page.as_html("fit-trial", trial, doors.call("fit-trial", trial))
    assert "metered work, kJ/kg" in text
    assert "kWh/t" in text


def test_what_has_no_page_or_no_place_is_refused(tmp_path):
    with pytest.raises(BadInput, match="no residual plot; these have: fit-drying"):
        fit_page.check_plotted("mill")
    found = doors.call("fit-drying", RUN)
    with pytest.raises(BadInput, match="a file that can be written"):
        fit_page.write("fit-drying", RUN, found, tmp_path)
    refused = CliRunner().invoke(command, ["mill", "mass_kg=1", "--plot", str(tmp_path / "x.html")])
    assert refused.exit_code == 2
    assert "no residual plot" in refused.output
