"""The command `predict`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
from system.progress import progress
from system.sheets.showing import Showing, say, write_csv

if TYPE_CHECKING:
    from system.around import Around
    from system.kit import Kit, Variant
    from system.predict import Prediction
    from system.sheets.plots import Picture


@app.command()
@command
def predict(
    kit: KitFile,
    variant: Variants = None,
    volts: Volts = 2.83,
    frequencies: Frequencies = None,
    start: From = None,
    stop: To = None,
    points: Points = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    netlist: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a SPICE netlist of the variant (give one --variant).")
    ] = None,
    around: Annotated[
        bool, typer.Option("--around", help="Also off the axis in both planes: averages, indices, and the kit's seats.")
    ] = False,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """Response, impedance, excursion, opening speed and driver voltages of each variant."""
    from system import grid
    from system.checks import examine
    from system.detail import predict_in_detail as compute
    from system.netlist import netlist as circuit
    from system.output import write_file
    from system.sheets import around_data, data, predict_data

    loaded = load(kit, settings)
    asked = asked_frequencies(frequencies, start, stop, points)
    volts = checked_volts(volts)
    variants = chosen(loaded, variant)
    showing = Showing.of(kit, output, as_json, force)
    if netlist is not None:
        _check_netlist(variants, netlist, force)
    curves = as_json or showing.drawn or csv is not None
    frequency = asked if asked is not None else grid.logarithmic() if curves else grid.THIRD_OCTAVES
    with progress("predict", variants) as in_turn:
        results = [compute(loaded, each, frequency, volts) for each in in_turn]
    rounds = _around(loaded, results) if around else []
    findings = (*loaded.findings, *examine(loaded, results))
    if csv is not None:
        tables = predict_data.tables(results)
        tables |= {f"around_{r.variant.name}.csv": around_data.around_csv(r) for r in rounds}
        write_csv(csv, tables | _exported(loaded, results), force)
    if netlist is not None:
        write_file(netlist, circuit(loaded, variants[0]), force)

    def document() -> str:
        content = {r.variant.name: data.prediction(r) for r in results}
        for each in rounds:
            content[each.variant.name]["around"] = around_data.around(each)
        return data.document(loaded.name, findings, frequency_hz=data.numbers(frequency), variants=content)

    def text() -> str:
        from system.sheets import around_texts, texts

        blocks = [texts.predictions(loaded, results), *([around_texts.around(rounds)] if rounds else [])]
        return "\n\n".join(blocks)

    showing.show(
        findings,
        lambda graphs: [*graphs.predictions(loaded, results), *_graphs(rounds)],
        document,
        text if netlist is None else None,
        csv,
    )


def _exported(kit: Kit, results: Sequence[Prediction]) -> dict[str, str]:
    """Tables that a kit file may name; what could not be one is told."""
    from system.sheets.exported import NotExported, tables

    files: dict[str, str] = {}
    for result in results:
        for name, table in tables(kit, result):
            if isinstance(table, NotExported):
                say(f"{name} is not written, since no kit could read it: {table}")
            else:
                files[name] = table
    return files


def _around(kit: Kit, results: Sequence[Prediction]) -> list[Around]:
    from system.around import around

    with progress("predict --around", [result.variant for result in results]) as in_turn:
        return [around(kit, result) for result, _ in zip(results, in_turn, strict=True)]


def _graphs(rounds: Sequence[Around]) -> list[Picture]:
    from system.sheets.around_graphs import around

    return around(rounds)


def _check_netlist(variants: Sequence[Variant], path: Path, force: bool) -> None:
    from system.findings import usage_error
    from system.output import check_target

    if len(variants) != 1:
        raise usage_error(
            f"--netlist for {len(variants)} variants", "one --variant NAME, since a netlist is one circuit"
        )
    check_target(path, force)
