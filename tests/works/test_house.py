"""Opening and making a works folder: all or nothing."""

from importlib import resources
from pathlib import Path

import pytest

from wareleaf.measure import BadInput
from wareleaf.works.house import create_works, open_works

SETTINGS = Path(str(resources.files("wareleaf.works.demo") / "works.toml"))


def test_a_book_that_cannot_be_reached_leaves_no_works_behind(tmp_path):
    folder = tmp_path / "works"
    nowhere = "postgresql://nobody@127.0.0.1:9/none"
    with pytest.raises(BadInput):
        create_works(folder, SETTINGS, nowhere)
    assert not folder.exists()


def test_what_lay_in_the_folder_before_stays(tmp_path):
    (tmp_path / "weather.epw").write_text("kept")
    with pytest.raises(BadInput):
        create_works(tmp_path, SETTINGS, "postgresql://nobody@127.0.0.1:9/none")
    assert [p.name for p in tmp_path.iterdir()] == ["weather.epw"]


def test_settings_with_a_mistake_make_nothing(tmp_path):
    broken = tmp_path / "broken.toml"
    broken.write_text("[firm]\n")
    with pytest.raises(BadInput, match=r"broken\.toml, line"):
        create_works(tmp_path / "works", broken)
    assert not (tmp_path / "works").exists()


def test_a_second_works_does_not_go_over_the_first(tmp_path):
    create_works(tmp_path / "works", SETTINGS)
    with pytest.raises(BadInput, match="already holds a works"):
        create_works(tmp_path / "works", SETTINGS)


def test_a_folder_without_a_works_says_how_to_make_one(tmp_path):
    with pytest.raises(BadInput, match="wareleaf init"):
        open_works(tmp_path)
