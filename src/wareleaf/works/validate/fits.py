"""The fitting engine against certified sets and a printed table."""

from __future__ import annotations

import numpy as np

from wareleaf.leaf.fit import spread_starts
from wareleaf.leaf.fit_thin_layer import CURVES, fit_thin_layer
from wareleaf.works.validate import nist
from wareleaf.works.validate.case import Check, Found, Plot, Runs, at_least, near

MINUTES = 15.0 * np.arange(7)
READ = (1.000, 0.646, 0.525, 0.408, 0.329, 0.258, 0.192)
PRINTED = {
    "midilli": (0.9999, 0.0944, 0.5083, -0.0023),
    "page": (0.0504, 0.761),
    "wang_singh": (-0.0184, 0.0001),
    "lewis": (0.0198,),
    "henderson_pabis": (0.9533, 0.0187),
    "logarithmic": (0.8362, 0.0269, 0.1435),
}


def _nist() -> Found:
    checks: list[Check] = []
    first: list[tuple[float, float]] = []
    second: list[tuple[float, float]] = []
    for number, name in enumerate(nist.CURVES, start=1):
        data = nist.certified_set(name)
        for start, points in ((1, second), (0, first)):
            given = data.starts[start].tolist()
            runaway = name == "BoxBOD" and start == 0
            fit = nist.fitted(data, spread_starts(given) if runaway else [given])
            found = nist.digits(np.array(list(fit.parameters.values())), data.certified)
            least = 6.0 if start == 1 else 4.0
            label = f"{name}, start {start + 1}{' and spread starts' if runaway else ''}"
            checks.append(at_least(label, "certified digits", found, least))
            points.append((float(number), found))
    plot = Plot(
        "set, in the order of the table",
        "certified digits of the worst constant",
        {},
        {"start 2": second, "start 1": first},
    )
    note = (
        "BoxBOD from its first start runs away in every plain descent: one start alone gives no "
        "standard error, spread starts bring it home."
    )
    return Found(tuple(checks), plot, note)


def _cherry() -> Found:
    checks: list[Check] = []
    time = np.linspace(0.0, 90.0, 61)
    lines = {}
    for name, printed in PRINTED.items():
        fit = fit_thin_layer(MINUTES.tolist(), READ, [name])[0]
        for (constant, value), told in zip(fit.parameters.items(), printed, strict=True):
            error = fit.standard_errors[constant] or 0.0
            label = f"{name}: {constant} (within one standard error)"
            checks.append(near(label, "per min", value, told, within=error + 1e-4))
        ratio = CURVES[name].ratio(time, np.array(list(fit.parameters.values())))
        lines[name] = list(zip(time.tolist(), np.asarray(ratio).tolist(), strict=True))
    points = list(zip(MINUTES.tolist(), READ, strict=True))
    return Found(tuple(checks), Plot("minutes", "moisture ratio", lines, {"readings": points}))


RUNS: Runs = {
    "nist-strd": _nist,
    "sour-cherry": _cherry,
}
