"""The command `compare`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

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
    Volts,
    app,
    asked_frequencies,
    checked_volts,
    chosen,
    command,
    load,
)
from system.sheets.showing import Showing, write_csv


@app.command()
@command
def compare(
    kit: KitFile,
    other: Annotated[Path | None, typer.Argument(metavar="[KIT2.yaml]", help="Another kit beside it.")] = None,
    variant: Variants = None,
    against: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="The variant the others are matched with; default the first."),
    ] = None,
    volts: Volts = 2.83,
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
    """The variants side by side: one table, overlaid plots."""
    from system import grid
    from system.compare import compare as compute
    from system.sheets import data, match_data, match_texts, texts

    kits = [load(path, settings) for path in (kit, other) if path is not None]
    volts = checked_volts(volts)
    showing = Showing.of(kit, output, as_json, force)
    asked = asked_frequencies(frequencies, start, stop, points)
    frequency = grid.logarithmic() if asked is None else asked
    result = compute(kits, [chosen(loaded, variant) for loaded in kits], frequency, volts, against)
    if csv is not None:
        write_csv(csv, {f"{name}.csv": data.prediction_csv(p) for name, p in result.predictions.items()}, force)
    showing.show(
        result.findings,
        lambda graphs: graphs.comparison(result),
        lambda: data.document(
            kits[0].name, result.findings, **data.comparison(result), match=match_data.matches(result)
        ),
        lambda: "\n\n".join(filter(None, (texts.comparison(result), match_texts.matches(result)))),
    )
