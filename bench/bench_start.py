"""The first call after start-up: a fresh process, from nothing to the answer.

Nothing is compiled at run time (numpy and scipy only), so a first call costs what its imports cost.
A fresh process imports `wareleaf.stages.dry` and solves one belt; another is `./wareleaf calc
dryer` as a person types it, the check that the environment is ready among it. Counted is the
process time of the child with all it starts (user and system), best of several: it hardly swings
with what else the machine does, and the work is one thread, so on an idle machine it is the wall
time too, which stands in the note. Bytecode is there, as `./wareleaf` makes it when it sets up.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bench import Row

HERE = Path(__file__).resolve().parent.parent
REPEATS = 5
BELT = {
    "leaf": "sugar_kelp_blanched",
    "moisture_wb": 0.9,
    "residence_h": 2.5,
    "feed_kg_h": 300.0,
    "dryer": {
        "area_m2": 40.0,
        "zones": [
            {"share": 0.6, "inlet_c": 70.0, "velocity_m_s": 1.0, "recirculated": 0.6},
            {"share": 0.4, "inlet_c": 55.0, "velocity_m_s": 0.8, "recirculated": 0.7},
        ],
    },
}
SOLVE = """
from wareleaf.stages import dry
zones = (dry.Zone(0.6, 70.0, 1.0, 0.6), dry.Zone(0.4, 55.0, 0.8, 0.7))
run = dry.DryRun("sugar_kelp_blanched", 0.9, 2.5, feed_kg_h=300.0)
made = dry.simulate(dry.BeltDryer(40.0, zones), run, with_spread=False)
print(made.moisture_wb_out)
"""


def _first(command: list[str]) -> tuple[float, float, str]:
    """Best process seconds and best wall seconds of a command, and what it says."""
    clean = ["env", "-u", "PYTHONDONTWRITEBYTECODE", f"PYTHONPATH={HERE / 'src'}", *command]
    best, wall, said = float("inf"), float("inf"), ""
    for _ in range(REPEATS + 1):  # one more, which may write bytecode
        before, start = os.times(), time.perf_counter()
        said = subprocess.run(clean, cwd=HERE, capture_output=True, text=True, check=True).stdout
        wall = min(wall, time.perf_counter() - start)
        after = os.times()
        spent = after.children_user - before.children_user
        best = min(best, spent + after.children_system - before.children_system)
    return best, wall, said


def run() -> list[Row]:
    solve, solve_wall, said = _first([sys.executable, "-c", SOLVE])
    bare, _, _ = _first([sys.executable, "-c", "import numpy, scipy.special, scipy.integrate"])
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "belt.json"
        source.write_text(json.dumps(BELT), "utf-8")
        door, door_wall, answer = _first(
            [str(HERE / "wareleaf"), "calc", "dryer", "--input", str(source)]
        )
    off = abs(json.loads(answer)["moisture_wb_out"] / float(said) - 1.0)
    if off > 1e-6:
        raise AssertionError(f"the door is {off:.1e} off the solve")
    return [
        Row("import stages.dry, one belt", solve, None, None, "s", "<= 1.5",
            f"fresh process; wall {solve_wall:.2f} s at best; numpy and scipy alone {bare:.2f} s"),
        Row("./wareleaf calc dryer", door, None, None, "s", "<= 1.5",
            f"with its spread, and the check of the environment; wall {door_wall:.2f} s at best"),
    ]  # fmt: skip
