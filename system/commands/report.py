"""The command `report`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from system.commandline import Force, KitFile, Settings, Variants, app, chosen, command, load
from system.progress import progress
from system.sheets.showing import is_picture, say_data, tell

PAGES = (".html",)

Output = Annotated[
    Path | None, typer.Option("-o", "--output", metavar="FILE", help="Write to FILE: .html the page; .txt its text.")
]


@app.command()
@command
def report(
    kit: KitFile,
    variant: Variants = None,
    job: Annotated[str, typer.Option(metavar="TEXT", help="Number of the job, printed at the top.")] = "",
    serial: Annotated[
        list[str] | None, typer.Option(metavar="TEXT", help="Serial number of a cabinet; may be given again.")
    ] = None,
    date: Annotated[str, typer.Option(metavar="TEXT", help="Date to print; without one there is a line for it.")] = "",
    measured: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Impedance sweep of this unit, to be drawn too; one --variant.")
    ] = None,
    settings: Settings = None,
    output: Output = None,
    force: Force = False,
) -> None:
    """Everything on one page: stops, verdicts, the bench side to print, graphs, assumptions, trust, sign-off."""
    from system.bench.sweeps import read_sweep
    from system.findings import usage_error
    from system.output import write_file
    from system.report import report as compute
    from system.sheets.pages import as_html, as_text
    from system.sheets.report_page import sheets
    from system.workshop.jobrecord import JobRecord

    try:
        record = JobRecord(number=job, serials=tuple(serial or ()), date=date)
    except ValueError as error:
        raise usage_error(f"--job, --serial or --date: {error}", "a line of plain text") from error
    page = is_picture(output, PAGES)
    loaded = load(kit, settings)
    with progress("report"):
        variants = chosen(loaded, variant)
    if measured is not None and len(variants) != 1:
        raise usage_error(f"--measured for {len(variants)} variants", "it is of one unit: name its --variant")
    sweep = read_sweep(measured) if measured is not None else None
    made = compute(loaded, variants, record, settings or (), sweep)
    pages = sheets(made)
    text = as_html.html(f"{loaded.name}: report", pages) if page else as_text.text(pages)
    if output is None:
        say_data(text)
    else:
        write_file(output, text if page else f"{text}\n", force)
    tell(made.findings, kit)
