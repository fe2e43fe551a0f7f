"""The command `buildsheet`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from system.commandline import AsJson, Force, KitFile, Settings, Variants, app, chosen, command, load
from system.sheets.showing import Showing

if TYPE_CHECKING:
    from system.sheets.pages.blocks import Paper, Sheet
    from system.workshop.jobrecord import JobRecord

PAGES = (".pdf", ".html", ".png", ".svg")
ONE_PAGE = (".png", ".svg")

Output = Annotated[
    Path | None,
    typer.Option(
        "-o", "--output", metavar="FILE", help="Write to FILE: .pdf or .html to print; .png, .svg its first page; .txt."
    ),
]


@app.command()
@command
def buildsheet(
    kit: KitFile,
    variant: Variants = None,
    cabinet: Annotated[bool, typer.Option("--cabinet", help="The cabinet's sheet instead of the board's.")] = False,
    paper: Annotated[str, typer.Option(metavar="SIZE", help="a4 or letter.")] = "a4",
    job: Annotated[str, typer.Option(metavar="TEXT", help="Number of the job, printed on every page.")] = "",
    serial: Annotated[
        list[str] | None, typer.Option(metavar="TEXT", help="Serial number of a cabinet; may be given again.")
    ] = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    force: Force = False,
) -> None:
    """What to solder where, which way round, what a meter must read, what to mind: a page to print a variant."""
    from system.checks import examine_impedance
    from system.findings import usage_error
    from system.sheets import build_data, build_sheet, cabinet_page, data
    from system.sheets.pages import as_text
    from system.workshop.buildsheet import build_sheets, checksum
    from system.workshop.carpentry import cabinet_sheet

    if paper not in ("a4", "letter"):
        raise usage_error(f"--paper {paper}", "a4 or letter")
    record = _record(job, serial or ())
    loaded = load(kit, settings)
    showing = Showing.of(kit, output, as_json, force, PAGES)
    variants = chosen(loaded, variant)
    if output is not None and output.suffix.lower() in ONE_PAGE and len(variants) > 1:
        raise usage_error(f"-o {output} for {len(variants)} variants", "it shows one page: name one --variant")
    if cabinet:
        made = [cabinet_sheet(loaded, each) for each in variants]
        findings = (*loaded.findings, *(finding for each in made for finding in each.findings))
        content = build_data.cabinets(made)
        foot = build_sheet.foot(loaded, checksum(loaded))
        sheets = [cabinet_page.sheet(each, foot) for each in made]
    else:
        boards = build_sheets(loaded, variants, record)
        findings = (*loaded.findings, *examine_impedance(loaded, variants))
        content = build_data.boards(boards)
        sheets = build_sheet.sheets(boards)

    def page(_: Any) -> bytes:
        assert output is not None
        return _page(loaded.name, sheets, cast("Paper", paper), output.suffix.lower())

    showing.show(
        findings,
        page,
        lambda: data.document(loaded.name, findings, **content),
        lambda: as_text.text(sheets),
    )


def _record(job: str, serials: Sequence[str]) -> JobRecord:
    from system.findings import usage_error
    from system.workshop.jobrecord import JobRecord

    try:
        return JobRecord(number=job, serials=tuple(serials))
    except ValueError as error:
        raise usage_error(f"--job or --serial: {error}", "a line of plain text") from error


def _page(title: str, sheets: Sequence[Sheet], paper: Paper, ending: str) -> bytes:
    from system.sheets.pages import as_html, as_paper

    if ending == ".html":
        return as_html.html(title, sheets, paper).encode()
    return as_paper.pdf(sheets, paper) if ending == ".pdf" else as_paper.picture(sheets[0], paper, ending[1:])
