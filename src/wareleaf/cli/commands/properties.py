"""What a lot holds: measured, told by its relatives, or only usual for its leaf."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step


@click.command("properties")
@click.argument("lot_id", metavar="LOT")
@click.option("--full", is_flag=True, help="Also what is only known as usual for such leaf.")
@in_works()
def command(job: Job, lot_id: str, full: bool) -> None:
    """Say what LOT holds and has cost, how well that is known, and what it rests on.

    The ± is for 95 %. A value from relatives or from lots like it never releases a lot.
    """
    from wareleaf.works.properties import lot_properties, risks
    from wareleaf.works.properties.lot import USUAL

    held = lot_properties(job.works, lot_id, with_cost=True)
    warned = risks(job.works, lot_id)
    lines = [f"{lot_id} holds (± 95 %):"]
    for p in held.properties:
        if p.kind == USUAL and not full:
            continue
        basis = "wet basis" if p.basis == "wet" else "of dry matter"
        name = p.parameter.replace("_", " ")
        lines.append(f"  {name}: {p.value:.4g} ± {1.96 * p.sd:.2g} {p.unit} {basis}, {p.kind}")
        for g in p.grounds:
            lines.append(f"    {g.value:.4g} {g.unit} on {g.lot_id}, {g.relation}; {g.reference}")
        if not p.grounds:
            others = f"{p.others} results on other lots of such leaf; " if p.others else ""
            lines.append(f"    {others}{p.usual}")
    shares = {"from": held.origins, "grade": held.grades}
    lines += [
        f"  {word} {name}: {100 * s.share:.1f} ± {196 * s.sd:.1f} % of its dry matter"
        for word, by in shares.items()
        for name, s in by.items()
    ]
    if held.cost is not None:
        c = held.cost
        lines.append(
            f"  a kg of it took {c.money_per_kg:.2f} {c.currency}, {c.kwh_per_kg:.2f} kWh and "
            f"{c.kg_co2e_per_kg:.2f} kg CO2e; how far off these are is not known"
        )
    lines += [f"  {r.sentence}" for r in warned]
    lines += [f"  {said}" for said in (*held.odd, *held.left_out)]
    lines.append(next_step("test-next"))
    job.say({"properties": held, "risks": warned}, lines)
