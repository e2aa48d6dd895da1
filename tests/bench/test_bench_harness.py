"""The benchmark command: finds its modules, judges targets, refuses unknown names."""

import json

import pytest

from bench import Row, __main__, meets


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (Row("a", 50.0, 1.0, 50.0, "states/s", ">= 20"), True),
        (Row("a", 50.0, 10.0, 5.0, "states/s", ">= 20"), False),
        (Row("a", 0.02, None, None, "K", "<= 0.05"), True),
        (Row("a", 0.06, None, None, "K", "<= 0.05"), False),
        (Row("a", 0.06, None, None, "K"), None),
    ],
)
def test_a_target_is_judged_on_the_ratio_or_else_on_the_value(row, expected):
    assert meets(row) is expected


def test_modules_are_found_by_name(capsys):
    assert "humid_air" in __main__.names()
    assert __main__.main(["--list"]) == 0
    assert "humid_air" in capsys.readouterr().out.split()


def test_an_unknown_name_is_refused_with_the_known_ones(capsys):
    with pytest.raises(SystemExit) as caught:
        __main__.main(["tide"])
    assert caught.value.code == 2
    assert "humid_air" in capsys.readouterr().err


def test_json_carries_rows_failures_and_the_exit_code(capsys, monkeypatch):
    class Good:
        @staticmethod
        def run():
            return [Row("speed", 10.0, 2.0, 5.0, "1/s", ">= 4")]

    class Broken:
        @staticmethod
        def run():
            raise RuntimeError("no sun today")

    modules = {"bench.bench_good": Good, "bench.bench_broken": Broken}
    monkeypatch.setattr(__main__, "names", lambda: ["broken", "good"])
    monkeypatch.setattr(__main__.importlib, "import_module", modules.__getitem__)
    assert __main__.main(["--json", "good"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["benchmarks"]["good"][0]["met"] is True
    assert __main__.main(["--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["failed"] == {"broken": "RuntimeError: no sun today"}
    assert __main__.main([]) == 1
    assert "no sun today" in capsys.readouterr().out
