"""The command `compare`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from system import completion
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

if TYPE_CHECKING:
    from system.compare import Comparison
    from system.differences import Difference


@app.command()
@command
def compare(
    kit: KitFile,
    other: Annotated[Path | None, typer.Argument(metavar="[KIT2.yaml]", help="Another kit beside it.")] = None,
    variant: Variants = None,
    against: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="The variant the others are matched with; default the first.",
            autocompletion=completion.variants,
        ),
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
    """The variants side by side: one table, overlaid plots. Of two kits, what the files say otherwise, too."""
    from system import grid
    from system.compare import compare as compute
    from system.sheets import data, match_data

    files = [path for path in (kit, other) if path is not None]
    kits = [load(path, settings) for path in files]
    volts = checked_volts(volts)
    showing = Showing.of(kit, output, as_json, force)
    asked = asked_frequencies(frequencies, start, stop, points)
    frequency = grid.logarithmic() if asked is None else asked
    result = compute(kits, [chosen(loaded, variant) for loaded in kits], frequency, volts, against)
    found = _differences(files, settings)
    if csv is not None:
        tables = {f"{name}.csv": data.prediction_csv(p) for name, p in result.predictions.items()}
        write_csv(csv, tables | ({} if found is None else {"differences.csv": _csv(found)}), force)
    beside = {} if found is None else _of_two(found, files, result)
    showing.show(
        result.findings,
        lambda graphs: graphs.comparison(result),
        lambda: data.document(
            kits[0].name, result.findings, **data.comparison(result), match=match_data.matches(result), **beside
        ),
        lambda: _text(result, found, files, against),
        csv,
    )


def _differences(files: Sequence[Path], settings: Settings) -> Sequence[Difference] | None:
    """What two files say otherwise, with the same what-ifs in both; None of one file alone."""
    if len(files) == 1:
        return None
    from system.differences import differences
    from system.kitfile import kit_as_written

    first, second = (kit_as_written(file, settings or ()) for file in files)
    return differences(first, second, (files[0].parent, files[1].parent))


def _of_two(found: Sequence[Difference], files: Sequence[Path], result: Comparison) -> dict[str, Any]:
    from system.sheets import difference_data, match_data

    return {
        "files": [str(file) for file in files],
        "differences": difference_data.differences(found),
        "same_name": match_data.namesakes(result),
    }


def _csv(found: Sequence[Difference]) -> str:
    from system.sheets import data, difference_texts

    return data.table_csv(["path", "first", "second"], map(difference_texts.cells, found))


def _text(result: Comparison, found: Sequence[Difference] | None, files: Sequence[Path], against: str | None) -> str:
    from system.sheets import difference_texts, match_texts, texts

    if found is None:
        blocks = [texts.comparison(result), match_texts.matches(result)]
    else:
        asked = match_texts.matches(result) if against is not None or not result.namesakes else ""
        blocks = [difference_texts.differences(found, files), difference_texts.namesakes(result), asked]
    return "\n\n".join(filter(None, blocks))
