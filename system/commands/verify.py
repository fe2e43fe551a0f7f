"""The command `verify`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

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

if TYPE_CHECKING:
    from system.findings import Finding
    from system.kit import Kit, Variant

Readings = Annotated[
    Path | None,
    typer.Option("--readings", metavar="FILE", help="Ohmmeter readings, like `in common connected 3.4`, one a line."),
]
SweepFile = Annotated[
    Path | None, typer.Option("--sweep", metavar="FILE", help="Its impedance over frequency: Hz, ohm, degrees.")
]
Microphone = Annotated[
    Path | None,
    typer.Option("--microphone", metavar="FILE", help="Its response at the kit's listening point: Hz, dB, degrees."),
]
Against = Annotated[
    Path | None,
    typer.Option(
        "--against", metavar="SWEEP", help="The impedance of the other one of a pair, to hold --sweep against."
    ),
]


@app.command()
@command
def verify(
    kit: KitFile,
    variant: Variants = None,
    readings: Readings = None,
    sweep: SweepFile = None,
    microphone: Microphone = None,
    against: Against = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    force: Force = False,
) -> None:
    """Is the finished speaker built as drawn, and what is wrong? Exit status 1: it failed."""
    from system.findings import KitError, usage_error

    if readings is sweep is microphone is None:
        raise usage_error("nothing that was measured", "give --readings, --sweep or --microphone, or several of them")
    if against is not None and sweep is None:
        raise usage_error("--against without --sweep", "give the sweep of this speaker too")
    loaded = load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    one = _single(loaded, chosen(loaded, variant))
    from system.asked import read
    from system.bench.meter import read_readings
    from system.bench.sweeps import read_microphone, read_sweep
    from system.bench.verify import verify as judge

    faults: list[Finding] = []
    said = read(readings, lambda path: read_readings(path, loaded, one), faults)
    swept, heard = read(sweep, read_sweep, faults), read(microphone, read_microphone, faults)
    other = read(against, read_sweep, faults)
    if faults:
        raise KitError(faults, loaded.name)
    try:
        with progress("verify", [one]) as in_turn:
            result = judge(loaded, next(in_turn), said or (), swept, heard, other)
    except KitError:
        raise
    except ValueError as error:
        raise KitError([_refused(sweep, error)], loaded.name) from error
    notes = [note for table in (swept, heard, other) if table is not None for note in table.notes]
    _show(showing, loaded, result, (*loaded.findings, *notes), csv)
    if result.result == "fail":
        raise typer.Exit(1)


def _single(kit: Kit, variants: list[Variant]) -> Variant:
    """The one that was built. Raises KitError where it is not told which."""
    from system.findings import usage_error

    if len(variants) != 1:
        raise usage_error(
            "--variant, of which verify needs one" if len(variants) < len(kit.variants) else "no --variant",
            f"a finished speaker is one variant; name it: {', '.join(kit.variants)}",
        )
    return variants[0]


def _refused(sweep: Path | None, error: ValueError) -> Finding:
    from system.findings import Finding

    return Finding("error", "sweep_refused", str(sweep), 1, 1, "", str(error), "sweep from 20 Hz to 20 kHz")


def _show(showing: Showing, kit: Kit, result: Any, findings: tuple[Finding, ...], csv: Path | None) -> None:
    from system.sheets import data, verify_data, verify_texts

    if csv is not None:
        write_csv(csv, verify_data.tables(result), showing.force)

    def picture(_: Any) -> Any:
        from system.sheets import verify_graphs

        return verify_graphs.verified(kit, result)

    showing.show(
        findings,
        picture,
        lambda: data.document(kit.name, findings, **verify_data.verified(result)),
        lambda: verify_texts.verified(kit, result),
        csv,
    )
