"""Record what the laboratory found."""

from __future__ import annotations

import click

from wareleaf.cli.common import Job, in_works, next_step
from wareleaf.cli.options import recorded
from wareleaf.cli.typed import fraction, number


@click.command("result", context_settings={"ignore_unknown_options": True})
@click.argument("lot_id", metavar="LOT")
@click.argument("sample_id", metavar="SAMPLE")
@click.argument("parameter")
@click.argument("value")
@click.option("--unit", required=True, help="Of value and uncertainty: mg/kg, %, cfu/g...")
@click.option("--uncertainty", required=True, help="Standard uncertainty (k = 1), same unit.")
@click.option(
    "--basis",
    type=click.Choice(["wet", "dry", "hydrated"]),
    help="What the value is per kg of; wet for moisture, else dry, when left out.",
)
@click.option("--moisture", help="Of the sample as analysed, in %; needed between wet and dry.")
@click.option("--below-loq", is_flag=True, help="Reported as less than VALUE.")
@click.option("--method", default="", help="How it was measured.")
@click.option("--kit", default="", help="Batch of the test kit or reagent.")
@click.option("--laboratory", default="own bench", show_default=True, help="By whom.")
@recorded(document="Number of the report.", note="")
@in_works(who=True)
def command(job: Job, **given: str | bool | None) -> None:
    """Record VALUE of PARAMETER (moisture, iodine, cadmium...) found in SAMPLE of LOT."""
    from wareleaf.works.bench import Found, record_result

    lot_id, text = str(given["lot_id"]), {k: v for k, v in given.items() if isinstance(v, str)}
    found = Found(
        parameter=text["parameter"],
        value=number(text["value"], "value"),
        standard_uncertainty=number(text["uncertainty"], "uncertainty"),
        unit=text["unit"],
        basis=text.get("basis") or ("wet" if text["parameter"] == "moisture" else "dry"),
        moisture_wb=fraction(text.get("moisture"), "moisture_wb"),
        below_loq=bool(given["below_loq"]),
        method=text["method"],
        laboratory=text["laboratory"],
        kit=text["kit"],
    )
    event = record_result(
        job.works,
        job.who,
        lot_id,
        text["sample_id"],
        found,
        at=job.at(text.get("at")),
        document=text["document"],
    )
    job.say(event, [f"Recorded on lot {lot_id}.", next_step(f"assess {lot_id}")])
