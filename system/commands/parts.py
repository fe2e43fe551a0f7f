"""The command `parts`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

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
from system.sheets.showing import Showing, write_csv

if TYPE_CHECKING:
    from system.kit import Kit, Variant

MOST = 100  # cabinets
Instead = Callable[[Showing, Path | None], None]  # shows a result, and writes it into the folder of --csv


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
    wind: Annotated[
        str | None,
        typer.Option(
            metavar="REF",
            help="Instead: what to wind for this coil, of which wire.",
            autocompletion=completion.places,
        ),
    ] = None,
    layout: Annotated[
        bool, typer.Option("--layout", help="Instead: coils that couple on the board, and its plan (-o FILE.svg).")
    ] = False,
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
    if wind is not None or layout:
        if hand is not None or (wind is not None and layout):
            raise usage_error("two of --wind, --layout and --hand", "one of them")
        instead = _winding(loaded, variants, wind) if wind is not None else _layout(loaded, variants)
        instead(showing, csv)
        return
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

    showing.show(findings, picture, document, lambda: parts_texts.parts(result, pairs), csv)


def _winding(kit: Kit, variants: Sequence[Variant], reference: str) -> Instead:
    """A coil to wind; there is no picture of it."""
    from system.findings import usage_error
    from system.sheets import data, wind_data, wind_texts
    from system.workshop.wind import wind

    results = wind(kit, reference, variants)

    def show(showing: Showing, csv: Path | None) -> None:
        if showing.drawn:
            raise usage_error("a picture of a coil to wind", "--json, --csv or text")
        if csv is not None:
            write_csv(csv, wind_data.csv_files(results), showing.force)
        showing.show(
            kit.findings,
            lambda graphs: [],
            lambda: data.document(kit.name, kit.findings, **wind_data.winds(results, variants)),
            lambda: wind_texts.winds(kit.name, results),
        )

    return show


def _layout(kit: Kit, variants: Sequence[Variant]) -> Instead:
    """The board to scale."""
    from system.findings import usage_error
    from system.sheets import data, layout_data, layout_texts
    from system.workshop.layout import layout

    if kit.layout is None:
        raise usage_error("--layout of a kit that has none", "write layout: {board: [..], places: {..}}")
    results = [result for each in variants if (result := layout(kit, each)) is not None]

    def picture(_: Any) -> Any:
        from system.sheets import layout_graphs

        return layout_graphs.plans(results)

    def show(showing: Showing, csv: Path | None) -> None:
        if csv is not None:
            write_csv(csv, layout_data.csv_files(results), showing.force)
        showing.show(
            kit.findings,
            picture,
            lambda: data.document(kit.name, kit.findings, **layout_data.layouts(results)),
            lambda: layout_texts.layouts(kit, results),
        )

    return show
