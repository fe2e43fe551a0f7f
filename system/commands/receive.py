"""The commands `start` and `proofread`."""

from __future__ import annotations

from typing import Annotated

import typer

from system.commandline import AsJson, Force, KitFile, Output, Settings, app, command, load
from system.sheets.showing import say, say_data


@app.command()
@command
def start(
    smallest: Annotated[bool, typer.Option("--smallest", help="The twelve lines that are enough.")] = False,
    output: Output = None,
    force: Force = False,
) -> None:
    """Write a commented kit file to edit."""
    from system.examples import template

    text = template("smallest" if smallest else "start")
    if output is None:
        say_data(text.rstrip("\n"))
        return
    from system.output import write_file

    write_file(output, text, force)
    say(f"{output} written; next: kitwright proofread {output}")


@app.command()
@command
def proofread(kit: KitFile, settings: Settings = None, as_json: AsJson = False) -> None:
    """Every fault of a kit file, with line and column; nothing is computed."""
    loaded = load(kit, settings)
    for finding in loaded.findings:
        say(finding.text())
    if as_json:
        from system.sheets.data import document

        say_data(document(loaded.name, loaded.findings))
    else:
        counts = [sum(f.severity == severity for f in loaded.findings) for severity in ("warning", "note")]
        say_data(f"{kit}: no errors, {counts[0]} warnings, {counts[1]} notes")
