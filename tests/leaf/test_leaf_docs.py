"""The page on leaf profiles says what the code computes."""

import re
from pathlib import Path

import pytest

from wareleaf import leaf

PAGE = Path(__file__).parents[2] / "docs/understand/leaf-profiles.md"


def wet_basis_percent(leaf_id: str, air_percent: float) -> float:
    x = leaf.equilibrium_moisture_db(leaf.profile(leaf_id), air_percent / 100.0, 25.0, "adsorption")
    return 100.0 * x / (1.0 + x)


def test_the_table_of_raw_and_blanched_kelp_is_what_the_profiles_give():
    rows = re.findall(r"\| (\d+) % \| ([\d.]+) % \| ([\d.]+) % \|", PAGE.read_text("utf-8"))
    assert len(rows) == 4
    for air, raw, blanched in rows:
        # The page is rounded to a tenth below 30 % and to whole percent above.
        assert float(raw) == pytest.approx(
            wet_basis_percent("sugar_kelp_raw", float(air)), abs=0.06 if float(raw) < 30 else 0.5
        )
        assert float(blanched) == pytest.approx(
            wet_basis_percent("sugar_kelp_blanched", float(air)), abs=0.5
        )


def test_the_page_speaks_of_every_leaf_and_model():
    text = PAGE.read_text("utf-8")
    for leaf_id in leaf.profile_ids():
        assert f"**{leaf_id}.**" in text
    for model in leaf.MODELS:
        words = model.replace("_", " ").replace("chung pfost", "chung-pfost")
        assert words in text.lower()


def test_the_example_of_a_works_own_leaf_runs():
    block = re.search(r"((?:^    .*\n)+)\nQuantities are", PAGE.read_text("utf-8"), re.MULTILINE)
    assert block
    code = "\n".join(line[4:] for line in block.group(1).splitlines())
    names: dict[str, object] = {}
    exec(code, names)
    ours = names["ours"]
    assert isinstance(ours, leaf.LeafProfile)
    assert ours.salt_kcl_fraction == 0.10
