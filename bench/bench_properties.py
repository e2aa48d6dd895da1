"""A season's contents: 10,000 lots and 1,000 results, one content, from lots to estimates.

1,450 loads of a dozen lines are washed, blanched, dried and milled into two; the flake is blended
three lots at a time, 15 % of the blends from anywhere in the season, and packed in two. What leaf
and bath have in common ties all results together, which is the worst case for the solver. The
reference holds the joint normal of all lots as one dense matrix, on a tenth of the season.
"""

from __future__ import annotations

import random
from functools import partial

import numpy as np

from bench import Row, median_seconds, median_seconds_of
from wareleaf.book.properties import Belief, Finding, Source, Step, condition, network

Season = tuple[list[Source], list[Step], list[Finding]]


def run() -> list[Row]:
    whole, tenth = _season(1450, 1000), _season(145, 100)
    lots = len(_believe(whole).mean)
    seconds = median_seconds(partial(_believe, whole), repeats=3)
    ours, dense = median_seconds_of([partial(_believe, tenth), partial(_dense, tenth)], repeats=3)
    return [
        Row(f"{lots} lots, 1000 results", seconds, None, None, "s", "<= 4", "one pass"),
        Row("1000 lots, 100 results, dense", ours, dense, dense / ours, "s"),
    ]


def _season(loads: int, results: int) -> Season:
    chance = random.Random(5)
    sources, steps = [], []
    for i in range(loads):
        shared = {"leaf": 1400.0, f"line {i % 12}": 460.0}
        sources.append(Source(f"F{i}", 4600.0, 690.0, shared))
        bath = {"bath": 0.04}
        steps += [
            Step(f"wash {i}", {f"F{i}": 1.0}, {f"W{i}": 1.0}, factor_sd=0.03),
            Step(f"bath {i}", {f"W{i}": 1.0}, {f"B{i}": 1.0}, 0.1, 0.015, shared_factor=bath),
            Step(f"belt {i}", {f"B{i}": 1.0}, {f"D{i}": 1.0}),
            Step(f"mill {i}", {f"D{i}": 1.0}, {f"K{i}": 6.0, f"P{i}": 4.0}, part_relative_sd=0.05),
        ]
    for i in range(0, loads - 3, 2):
        near = range(i, i + 3)
        drawn = chance.sample(range(i + 3), 3) if chance.random() < 0.15 else near
        out = {f"X{i}a": 1.0, f"X{i}b": 1.0}
        parents = {f"K{k}": 1.0 / 3.0 for k in drawn}
        steps.append(Step(f"blend {i}", parents, out, part_relative_sd=0.03))
    tested = chance.sample(range(loads), results)
    return sources, steps, [Finding(f"D{i}", chance.gauss(500.0, 80.0), 45.0) for i in tested]


def _believe(season: Season) -> Belief:
    sources, steps, findings = season
    return condition(network(sources, steps), findings)


def _dense(season: Season) -> np.ndarray:
    sources, steps, findings = season
    net = network(sources, steps)
    joint = (net.spread @ net.spread.T).toarray()
    at = [net.index[f.lot_id] for f in findings]
    seen = joint[np.ix_(at, at)] + np.diag([f.sd**2 for f in findings])
    return joint - joint[:, at] @ np.linalg.solve(seen, joint[at])
