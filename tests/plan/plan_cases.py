"""Days for the planner's tests: invented works, seeded."""

import random

from wareleaf.plan.board import Crew, Day, Machine, TariffBand
from wareleaf.plan.loads import Load, Option, Step


def one_step(load_id, ready_h=0.0, hours=2.0, machines=("dryer",), **more):
    """A load with a single step of fixed hours."""
    fields = {
        "mass_kg": 100.0,
        "value_per_kg": 1.0,
        "hold_h": 4.0,
        "spoil_h": 12.0,
        "leaf": "kelp",
        "refuse_price_per_kg": 0.9,
    }
    step_fields = more.pop("step", {})
    step = Step("dry", tuple(Option(m, hours) for m in machines), **step_fields)
    return Load(load_id, ready_h=ready_h, route=(step,), **{**fields, **more})


def kelp_day(boats=4, *, dryer_kg_h=400.0, mass_kg=1500.0, **more):
    """A kelp works: wash, blanch and belt dryer in one flow, then a flaker."""
    machines = (
        Machine("wash", "wash", rate_kg_h=1500.0),
        Machine("blanch", "blanch", rate_kg_h=1200.0, warm_up_h=0.5, warm_up_price=15.0),
        Machine(
            "dryer",
            "dryer",
            rate_kg_h=dryer_kg_h,
            warm_up_h=1.0,
            warm_up_price=60.0,
            fire_price_per_h=20.0,
        ),
        Machine("flaker", "flaker", rate_kg_h=200.0),
    )
    route = (
        Step("wash", (Option("wash", 0.1),), crew=2),
        Step("blanch", (Option("blanch", 0.1),), flows=True),
        Step(
            "dry",
            (Option("dryer", 1.5, power_kw=30.0),),
            flows=True,
            crew=1,
            skill="dryer",
            max_wait_h=0.5,
            wait_price_per_kg_h=0.05,
        ),
        Step("flake", (Option("flaker", 0.1),), mass_factor=0.12, min_wait_h=0.5),
    )
    loads = tuple(
        Load(
            f"boat {k + 1}",
            "kelp",
            mass_kg,
            7.0 + 1.5 * k,
            0.6,
            3.0,
            10.0,
            route,
            divert_price_per_kg=0.35,
            refuse_price_per_kg=0.4,
        )
        for k in range(boats)
    )
    crew = (Crew("general", 5.0, 22.0, 4), Crew("dryer", 5.0, 30.0, 1))
    fields = {"horizon_h": 36.0, "crew": crew, **more}
    return Day(loads, machines, **fields)


def random_day(seed, loads=None):
    """Any works: batch, charged, continuous, shared and fired machines, crew, tariff, cleaning."""
    r = random.Random(seed)
    troughs = [Machine(f"trough {i}", "trough", capacity_kg=r.choice([400, 800])) for i in range(3)]
    rollers = [Machine("roller", "roller", capacity_kg=200, clean_h=r.choice([0.0, 0.5]))]
    floor = Machine("floor", "floor", capacity_kg=r.choice([500, 900]), shared=True)
    dryers = [
        Machine(
            f"dryer {i}",
            "dryer",
            rate_kg_h=r.choice([150.0, 300.0]),
            windows=((0.0, 20.0), (22.0, 40.0)) if r.random() < 0.5 else None,
            warm_up_h=r.choice([0.0, 0.75]),
            warm_up_price=r.choice([0.0, 30.0]),
            fire_price_per_h=r.choice([0.0, 8.0]),
            clean_h=r.choice([0.0, 0.4]),
        )
        for i in range(2)
    ]
    made = []
    for k in range(loads or r.randint(2, 6)):
        wither = r.uniform(3.0, 8.0)
        factor = r.uniform(0.5, 0.8)
        route = [
            Step(
                "wither",
                tuple(Option(m.id, wither * r.uniform(0.9, 1.2)) for m in troughs),
                crew=r.choice([0, 2]),
                crew_h=0.5,
            ),
            Step(
                "roll",
                (Option("roller", r.uniform(0.4, 1.0)),),
                mass_factor=factor,
                charges=True,
                crew=1,
                skill="roller",
                max_wait_h=r.choice([None, 0.5]),
                wait_price_per_kg_h=0.1,
            ),
            Step(
                "oxidise",
                (Option("floor", r.uniform(0.5, 1.5)),),
                mass_factor=factor,
                min_wait_h=r.choice([0.0, 0.25]),
                max_wait_h=0.5,
                wait_price_per_kg_h=0.2,
            ),
            Step(
                "dry",
                tuple(Option(m.id, 0.3, power_kw=10.0) for m in dryers),
                mass_factor=factor,
                flows=r.random() < 0.3,
                crew=1,
                max_wait_h=0.5,
                wait_price_per_kg_h=0.2,
            ),
        ]
        made.append(
            Load(
                f"load {k}",
                r.choice(["black", "green"]),
                float(r.randint(150, 1100)),
                round(r.uniform(0.0, 14.0), 2),
                r.uniform(0.8, 2.5),
                r.uniform(1.0, 3.0),
                r.uniform(4.0, 9.0),
                tuple(route),
                divert_price_per_kg=r.choice([None, 0.7]),
                refuse_price_per_kg=r.choice([None, 0.9]),
                due_h=r.choice([None, 24.0]),
                late_price_per_kg_h=0.02,
                splittable=r.random() < 0.8,
            )
        )
    crew = () if r.random() < 0.3 else (Crew("general", 0.0, 40.0, 3), Crew("roller", 2.1, 30.0, 1))
    tariff = (TariffBand(8.0, 12.0, 0.4),) if r.random() < 0.5 else ()
    return Day(
        tuple(made), (*troughs, *rollers, floor, *dryers), crew, tariff, horizon_h=40.0, grid_min=15
    )
