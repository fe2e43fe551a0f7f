"""The command `parts`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

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

MOST = 100  # cabinets


@app.command()
@command
def parts(
    kit: KitFile,
    variant: Variants = None,
    count: Annotated[int, typer.Option(metavar="N", help="Cabinets to build, of any one of the variants.")] = 2,
    hand: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Measured parts in hand (columns ref,value), for left and right."),
    ] = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """What to fit where and why, what to buy, labels for the bags, parts for left and right."""
    from system.checks import examine_impedance
    from system.findings import usage_error
    from system.handfile import read_hand
    from system.pairing import MOST_CABINETS, pair
    from system.sheets import data, parts_data, parts_texts
    from system.shopping import shopping

    loaded = load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    variants = chosen(loaded, variant)
    if not 1 <= count <= MOST:
        raise usage_error(f"--count {count}", f"1 to {MOST} cabinets")
    pairs = []
    if hand is not None:
        if not 2 <= count <= MOST_CABINETS:
            raise usage_error(f"--hand with --count {count}", f"2 to {MOST_CABINETS} cabinets can be matched")
        measured = read_hand(hand, loaded)
        pairs = [pair(loaded, each, measured, count, str(hand), seed) for each in variants]
    findings = (*loaded.findings, *examine_impedance(loaded, variants))
    result = shopping(loaded, variants, count)
    if csv is not None:
        write_csv(csv, parts_data.csv_files(result, pairs), force)

    def document() -> str:
        content = parts_data.parts(result)
        if hand is not None:
            content["hand"] = {each.variant.name: parts_data.paired(each) for each in pairs}
        return data.document(loaded.name, findings, **content)

    def picture(_: Any) -> Any:
        from system.sheets import parts_graphs

        return parts_graphs.parts(result, pairs)

    showing.show(findings, picture, document, lambda: parts_texts.parts(result, pairs))
