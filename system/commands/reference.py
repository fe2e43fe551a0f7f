"""The commands `schema` and `explain`."""

from __future__ import annotations

from typing import Annotated

import typer

from system import completion
from system.commandline import app, command
from system.sheets.showing import say_data


@app.command()
@command
def schema() -> None:
    """JSON Schema of the kit file, for editors that check as you type."""
    import json

    from system.schema import kit_schema

    say_data(json.dumps(kit_schema(), indent=1, ensure_ascii=False))


@app.command()
@command
def explain(
    code: Annotated[
        str,
        typer.Argument(metavar="CODE|units", help="A finding's code, or `units`.", autocompletion=completion.codes),
    ],
) -> None:
    """What a finding's code means, or every unit that a kit file may use."""
    from system.codes import explanation
    from system.quantity import units_text

    say_data(units_text() if code == "units" else explanation(code))
