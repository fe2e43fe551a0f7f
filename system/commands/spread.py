"""The command `spread`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from system.commandline import (
    AsJson,
    CsvFolder,
    Force,
    KitFile,
    Output,
    Settings,
    Variants,
    app,
    chosen,
    command,
    load,
)
from system.progress import progress
from system.sheets.showing import Showing, write_csv

FEWEST, MOST = 100, 1_000_000  # copies, as in the kit's own `spread.builds`

Builds = Annotated[
    int | None, typer.Option("--builds", metavar="N", help="How many copies are drawn. [default: the kit's, or 10000]")
]
Law = Annotated[
    str | None,
    typer.Option(metavar="LAW", help="How values lie in their tolerance, uniform or normal. [default: the kit's]"),
]
Seed = Annotated[int, typer.Option(metavar="N", help="Seed of the copies: the same one draws the same.")]
AtLeast = Annotated[
    float, typer.Option("--at-least", metavar="PERCENT", help="How many of the copies must stay inside.")
]


@app.command()
@command
def spread(
    kit: KitFile,
    variant: Variants = None,
    builds: Builds = None,
    law: Law = None,
    at_least: AtLeast = 90.0,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """How far apart copies of the kit come out, and which tolerance decides. Exit status 1: too few stay inside."""
    from system.builds import LAWS
    from system.checks import examine_impedance
    from system.findings import usage_error
    from system.sheets import data, spread_data, spread_texts
    from system.spread import nothing_to_draw
    from system.spread import spread as compute

    loaded = load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    count = loaded.spread.builds if builds is None else builds
    if not FEWEST <= count <= MOST:
        raise usage_error(f"--builds {count}", f"{FEWEST} to {MOST}")
    if law is not None and law not in LAWS:
        raise usage_error(f"--law {law}", f"one of {', '.join(LAWS)}")
    if seed < 0:
        raise usage_error(f"--seed {seed}", "0 or more")
    if not 0 <= at_least <= 100:
        raise usage_error(f"--at-least {at_least:g}", "0 to 100 %")
    floor, law = at_least / 100, law or loaded.spread.law
    variants = chosen(loaded, variant)
    seen = examine_impedance(loaded, variants)
    with progress("spread", variants) as in_turn:
        results = [compute(loaded, each, count, seed, law) for each in in_turn]
    findings = (*loaded.findings, *seen, *nothing_to_draw(loaded, results))
    if csv is not None:
        files = {f"{result.variant.name}.csv": spread_data.bands_csv(result) for result in results}
        write_csv(csv, {"sensitivity.csv": spread_data.sensitivity_csv(results), **files}, force)

    def picture(_: Any) -> Any:
        from system.sheets import spread_graphs

        return spread_graphs.spread(loaded, results, seed)

    showing.show(
        findings,
        picture,
        lambda: data.document(loaded.name, findings, **spread_data.spread(loaded, results, seed, law, floor)),
        lambda: spread_texts.spread(loaded, results, seed, law, floor),
        csv,
    )
    if any(result.inside.value < floor for result in results):
        raise typer.Exit(1)
