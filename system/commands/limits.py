"""The command `limits`."""

from __future__ import annotations

from typing import Any

import typer

from system.commandline import (
    AsJson,
    CsvFolder,
    Force,
    Frequencies,
    From,
    KitFile,
    Output,
    Points,
    Seed,
    Settings,
    To,
    Variants,
    app,
    asked_frequencies,
    chosen,
    command,
    load,
)
from system.progress import progress
from system.sheets.showing import Showing, write_csv


@app.command()
@command
def limits(
    kit: KitFile,
    variant: Variants = None,
    frequencies: Frequencies = None,
    start: From = None,
    stop: To = None,
    points: Points = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """What gives first, at how many volts, how loud and how hot. Exit status 1 where full volume is too much."""
    from system import grid
    from system.ceilings import ceilings
    from system.checks import examine
    from system.sheets import data, limit_data, limit_texts

    loaded = load(kit, settings)
    asked = asked_frequencies(frequencies, start, stop, points)
    variants = chosen(loaded, variant)
    showing = Showing.of(kit, output, as_json, force)
    curves = as_json or showing.drawn or csv is not None
    frequency = asked if asked is not None else grid.logarithmic() if curves else grid.THIRD_OCTAVES
    with progress("limits", variants) as in_turn:
        results = ceilings(loaded, in_turn, frequency, seed)
    findings = (*loaded.findings, *examine(loaded, [result.prediction for result in results]))
    if csv is not None:
        write_csv(csv, {f"{r.limits.variant.name}.csv": limit_data.limits_csv(r) for r in results}, force)

    def document() -> str:
        content = {r.limits.variant.name: limit_data.limits(r) for r in results}
        return data.document(loaded.name, findings, frequency_hz=data.numbers(frequency), variants=content)

    def picture(graphs: Any) -> Any:
        from system.protect import protect

        return graphs.limits(loaded, results, {each.name: protect(loaded, each) for each in variants})

    showing.show(findings, picture, document, lambda: limit_texts.limits(loaded, results), csv)
    if any(result.limits.exceeded for result in results):
        raise typer.Exit(1)
