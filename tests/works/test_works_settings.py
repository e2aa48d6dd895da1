"""The settings file: the demo's is sound, and a mistake is told by file, line and field."""

from importlib import resources

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.settings import parse_settings, read_settings

DEMO = resources.files("wareleaf.works.demo").joinpath("works.toml").read_text("utf-8")


def sentence_for(text: str) -> str:
    with pytest.raises(BadInput) as caught:
        parse_settings(text, "mine.toml")
    return " ".join(p.message for p in caught.value.problems)


def line_with(text: str, fragment: str) -> int:
    return next(i for i, line in enumerate(text.splitlines(), 1) if fragment in line)


def test_the_demo_settings_are_sound():
    settings = parse_settings(DEMO)
    assert {s.id for s in settings.site} == {"kelp", "tea"}
    assert settings.equipment_of("belt-1").stage == "dry"
    assert settings.meter_of("quay-scale").sd(1000.0) == pytest.approx((0.25 + 4.0) ** 0.5)


def test_a_wrong_value_names_file_line_and_field():
    text = DEMO.replace('crop = "tea"', 'crop = "hops"')
    said = sentence_for(text)
    assert f"mine.toml, line {line_with(text, 'hops')}, site.1.crop" in said
    assert "'kelp' or 'tea'" in said


def test_a_misspelt_setting_is_refused_where_it_stands():
    text = DEMO.replace("haul_h = 1.1", "hawl_h = 1.1")
    assert f"line {line_with(text, 'hawl_h')}, source.6.hawl_h" in sentence_for(text)


def test_a_missing_setting_points_at_its_table():
    text = DEMO.replace('name = "Trough 2"\n', "")
    said = sentence_for(text)
    assert "equipment.7.name" in said
    assert "is missing" in said


def test_a_reference_to_nowhere_lists_what_there_is():
    text = DEMO.replace('film = "pet-pe"', 'film = "wax-paper"')
    said = sentence_for(text)
    assert f"line {line_with(text, 'wax-paper')}, product.2.film" in said
    assert "met-pet" in said


def test_two_machines_of_one_name_are_refused():
    assert "used twice" in sentence_for(DEMO.replace('id = "trough-2"', 'id = "trough-1"'))


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"", "is empty"), (b"\xff\xfe\x00f", "not UTF-8"), (b"firm = [", "not TOML")],
)
def test_a_file_that_is_no_settings_says_so(tmp_path, content, says):
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    with pytest.raises(BadInput, match=says):
        read_settings(path)


def test_a_missing_file_says_so(tmp_path):
    with pytest.raises(BadInput, match="cannot be read"):
        read_settings(tmp_path / "nowhere.toml")


def test_an_unknown_time_zone_is_refused():
    assert "not a known time zone" in sentence_for(DEMO.replace("Atlantic/Azores", "Sea/Bottom"))


@pytest.mark.parametrize(
    ("row", "wrong"),
    [
        ("[[usual_leaf]]\nleaf = 'kelpie'\nparameter = 'iodine'\nmean = 1.0\n"
         "works_relative_sd = 0.1\nlot_relative_sd = 0.1", "no leaf"),
        ("[laboratory.price_per_test]\nlead = 0.0", "above 0"),
        ("[laboratory]\nwrong_release_counts = 0.0", "greater than 0"),
    ],
)  # fmt: skip
def test_own_contents_and_prices_are_checked(row, wrong):
    before, after = DEMO.split("[laboratory]")
    assert wrong in sentence_for(before + row + "\n\n" + after[after.index("[costs]") :])
