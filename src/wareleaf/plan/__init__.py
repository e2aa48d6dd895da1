"""Decisions of the day: which load goes where and when, what more leaf fits, which lots to blend.

Modules, each with one question:

- `day`: plan the day; `replan`: plan again after a breakdown; `check`: does a plan keep every rule
- `limits`: what limits the day; `room`: how much more leaf fits; `call_in`: how much to call in
- `blend`: least-cost draw from lots in store

Inputs are the frozen dataclasses of `loads` and `board`; a plan is a `schedule.Plan`. Nothing here
knows stages, store or clock: durations, prices and capacities arrive as numbers. The solvers are
named in ``_cp_sat`` (with its two helpers) and ``_highs`` only.
"""
