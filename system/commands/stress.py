"""The command `stress`."""

from __future__ import annotations

import typer

from system.commandline import (
    AsJson,
    CsvFolder,
    Force,
    KitFile,
    Output,
    Seed,
    Settings,
    Variants,
    app,
    chosen,
    command,
    load,
)
from system.sheets.showing import Showing, write_csv


@app.command()
@command
def stress(
    kit: KitFile,
    variant: Variants = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """What each part bears, against its ratings, and what to order. Exit status 1 where a part fails."""
    from system.ceilings import swept_case
    from system.checks import examine
    from system.sheets import data, limit_data, stress_texts
    from system.stress import stress as compute

    loaded = load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    cases = [swept_case(loaded, each) for each in chosen(loaded, variant)]
    findings = (*loaded.findings, *examine(loaded, [case.result for case in cases]))
    results = [compute(case) for case in cases]
    if csv is not None:
        write_csv(csv, {"stress.csv": limit_data.stress_csv(results)}, force)

    def document() -> str:
        content = {result.variant.name: limit_data.stress(result) for result in results}
        return data.document(loaded.name, findings, variants=content)

    showing.show(
        findings,
        lambda graphs: graphs.stress(loaded, cases),
        document,
        lambda: stress_texts.stress(loaded, results),
        csv,
    )
    if any(result.fails for result in results):
        raise typer.Exit(1)
