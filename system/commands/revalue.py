"""The command `revalue`."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import typer

from system import completion
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
from system.progress import progress
from system.sheets.showing import Showing, write_csv

Move = Annotated[
    list[str] | None,
    typer.Option(
        "--move",
        metavar="REF",
        help="Only this part may get another value; may be given again.",
        autocompletion=completion.places,
    ),
]
Asked = Annotated[
    str | None,
    typer.Option("--target", metavar="flat|FILE", help="The response to reach: flat, or a table of dB over Hz."),
]


@app.command()
@command
def revalue(
    kit: KitFile,
    variant: Variants = None,
    move: Move = None,
    target: Asked = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """Values for all variants at once: which must differ, and what each that differs is worth."""
    from system.aims import read_target
    from system.revalue import revalue as compute
    from system.sheets import data, revalue_data, revalue_texts

    loaded = load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    spec = loaded.revalue
    if move:
        spec = replace(spec, move=tuple(move))
    if target is not None:
        spec = replace(spec, target=read_target(target))
    with progress("revalue"):
        result = compute(loaded, chosen(loaded, variant), spec, seed)
    if csv is not None:
        write_csv(csv, revalue_data.tables(loaded, result), force)

    def picture(_: object) -> object:
        from system.sheets import revalue_graphs

        return revalue_graphs.revalue(loaded, result)

    showing.show(
        loaded.findings,
        picture,
        lambda: data.document(loaded.name, loaded.findings, seed=seed, **revalue_data.revalue(result)),
        lambda: revalue_texts.revalue(loaded, result),
        csv,
    )
