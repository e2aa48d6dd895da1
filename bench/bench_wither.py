"""A 14-hour wither with an hourly weather series, whole: simulate with its spread.

Each case stands beside a grid of eight times the layers and a thirtieth of the step, so that the
speed is not bought with accuracy. The clock is that of the processor: one thread on a free core
takes the same by the wall, and a busy machine does not spoil a target without a reference.
"""

from __future__ import annotations

import math
import statistics
import time
from dataclasses import replace

from bench import Row
from wareleaf.stages import wither

HOURS = tuple(float(h) for h in range(15))
RUN = wither.WitherRun(
    leaf_id="tea_black",
    mass_kg=900.0,
    moisture_wb=0.78,
    air_time_h=HOURS,
    dry_bulb_c=tuple(20.0 + 5.0 * math.sin(h / 3.0) for h in HOURS),
    relative_humidity=tuple(0.75 + 0.15 * math.sin(h / 4.0) for h in HOURS),
    duration_h=14.0,
)
RAIN = replace(RUN, moisture_wb=0.82, surface_water_share=0.15)
CASES = {
    "dry leaf": RUN,
    "rain-wet leaf": RAIN,
    "damp air": replace(RUN, relative_humidity=tuple(r + 0.1 for r in RUN.relative_humidity)),
    "air turned round twice": replace(RUN, reversal_h=(6.0, 10.0)),
    "rain, heat by rule, turned twice": replace(RAIN, heat_by_rule=True, reversal_h=(5.0, 9.0)),
}


def processor_seconds(trough: wither.Trough, case: wither.WitherRun, repeats: int = 25) -> float:
    """Median processor time of one call, after one to warm up."""
    wither.simulate(trough, case)
    times = []
    for _ in range(repeats):
        start = time.process_time()
        wither.simulate(trough, case)
        times.append(time.process_time() - start)
    return statistics.median(times)


def run() -> list[Row]:
    trough = wither.Trough()
    rows = []
    for name, case in CASES.items():
        took = 1e3 * processor_seconds(trough, case)
        fine = wither.simulate(replace(trough, n_layers=80), replace(case, step_min=0.5))
        off = 100.0 * (wither.simulate(trough, case).moisture_wb_out - fine.moisture_wb_out)
        note = f"processor time; mean moisture off an 80 x 0.5 min grid by {off:+.2f} points"
        rows.append(Row(f"14 h, hourly weather, {name}", took, None, None, "ms", "<= 20", note))
    return rows
