"""The commands that make a demo and a works of one's own."""

import pytest
from click.testing import CliRunner

from wareleaf.cli.commands import demo, init
from wareleaf.measure import BadInput
from wareleaf.works.demo import generate, opening
from wareleaf.works.house import open_works
from wareleaf.works.people import pin_fits


def run(command, *given):
    return CliRunner().invoke(command, [str(g) for g in given])


def test_a_works_of_ones_own_starts_from_the_example(tmp_path):
    folder = tmp_path / "mine"
    assert run(init.command, folder, "--example").exit_code == 0
    again = run(init.command, folder, "--example")
    assert again.exit_code == 2
    done = run(init.command, folder, "--pin", "4711")
    assert done.exit_code == 0, done.output
    works = open_works(folder)
    assert all(pin_fits(works, p.id, "4711") for p in works.settings.person)
    works.book.close()
    assert run(init.command, folder, "--pin", "4711").exit_code == 2


def test_each_person_is_asked_for_a_pin(tmp_path):
    typed = "".join(f"{n}{n}{n}{n}\n{n}{n}{n}{n}\n" for n in range(8))
    source = generate.settings_file()
    done = CliRunner().invoke(
        init.command, [str(tmp_path / "w"), "--settings", str(source)], input=typed
    )
    assert done.exit_code == 0, done.output
    works = open_works(tmp_path / "w")
    for n, person in enumerate(works.settings.person):
        assert pin_fits(works, person.id, 4 * str(n))
    works.book.close()


@pytest.mark.parametrize("pin", ["12", "abcd", "1234567890123"])
def test_a_pin_that_is_none_leaves_no_folder(tmp_path, pin):
    source = generate.settings_file()
    done = run(init.command, tmp_path / "w", "--settings", source, "--pin", pin)
    assert done.exit_code == 2
    assert "4 to 12 digits" in done.output
    assert not (tmp_path / "w").exists()


def test_settings_with_a_mistake_leave_no_folder(tmp_path):
    source = tmp_path / "bad.toml"
    source.write_text('[firm]\nname = "X"\n')
    done = run(init.command, tmp_path / "w", "--settings", source, "--pin", "1234")
    assert done.exit_code == 2
    assert "bad.toml, line" in done.output
    assert not (tmp_path / "w").exists()


def test_a_missing_settings_file_says_how_to_get_one(tmp_path):
    done = run(init.command, tmp_path / "w", "--pin", "1234")
    assert done.exit_code == 2
    assert "--example" in done.output


def test_a_works_that_is_no_demo_is_left_alone(tmp_path):
    folder = tmp_path / "mine"
    run(init.command, folder, "--example")
    run(init.command, folder, "--pin", "4711")
    for given in ((), ("--fresh",)):
        done = run(demo.command, "--folder", folder, "--no-serve", *given)
        assert isinstance(done.exception, BadInput)
        assert "no demo" in str(done.exception)
    assert (folder / "book.db").exists()


@pytest.mark.slow
def test_a_second_call_opens_what_is_there(demo_folder, tmp_path, monkeypatch):
    import shutil

    folder = tmp_path / "demo"
    shutil.copytree(demo_folder, folder)
    monkeypatch.setattr(generate, "generate", lambda *a, **k: pytest.fail("written twice"))
    done = run(demo.command, "--folder", folder, "--no-serve")
    assert done.exit_code == 0, done.output
    works = opening.open_demo(folder)
    assert works.book.verify().ok
    works.book.close()


@pytest.mark.slow
def test_a_fresh_demo_takes_the_place_of_the_old_one(tmp_path):
    folder = tmp_path / "demo"
    works = generate.generate(folder, days=1)
    root = works.book.tree_root()
    works.book.settings_put("mine", 1)
    works.book.close()
    again = generate.renew(folder, days=1)
    assert again.book.settings_get("mine") is None
    assert again.book.tree_root() == root
    again.book.close()
    assert [p.name for p in tmp_path.iterdir()] == ["demo"]
