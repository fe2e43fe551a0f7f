"""The command `swap`."""

from __future__ import annotations

from collections.abc import Sequence
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
    from pathlib import Path

    from system.findings import Finding
    from system.kit import Kit, Variant
    from system.substitute import Substituted
    from system.swap import Swap

Reference = Annotated[
    str,
    typer.Argument(
        metavar="REF",
        help="A part of the board, or a driver by its own or its hookup name.",
        autocompletion=completion.replaceable,
    ),
]
With = Annotated[
    str | None,
    typer.Option(
        "--with",
        metavar="WHAT",
        help='A part: "1.2 mH", "{coil: 1.2 mH, dc_resistance: 0.5 ohm}", link or omit. A driver: another one of the'
        " kit, or a YAML file that holds one.",
    ),
]
Table = Annotated[bool, typer.Option("--table", help="Every value from stock around the part's own.")]


@app.command()
@command
def swap(
    kit: KitFile,
    reference: Reference,
    what: With = None,
    table: Table = False,
    variant: Variants = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """May another part or driver take this place? Exit status 1 unless it passes or is marginal."""
    from system.findings import usage_error
    from system.substitute import hookups_of, place_of, unknown

    if (what is None) is not table:
        found = "--with together with --table" if table else "neither --with nor --table"
        raise usage_error(found, 'say what to swap it for, like --with "1.2 mH", or ask for --table; one of the two')
    loaded = load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    variants = chosen(loaded, variant)
    if place_of(loaded, reference) is None and not hookups_of(loaded, reference):
        raise unknown(loaded, reference)
    shown = _Shown(showing, loaded, reference, variants, csv, force)
    if what is None:
        shown.table()
    elif place_of(loaded, reference) is not None:
        shown.part(what, settings or (), named=bool(variant))
    else:
        shown.driver(what, settings or ())


class _Shown:
    """One run of the command, whichever it is."""

    def __init__(
        self,
        showing: Showing,
        kit: Kit,
        reference: str,
        variants: Sequence[Variant],
        csv: Path | None,
        force: bool,
    ) -> None:
        self.showing, self.kit, self.reference, self.variants = showing, kit, reference, variants
        self.csv, self.force = csv, force

    def part(self, what: str, settings: Sequence[str], named: bool) -> None:
        from system.sheets import swap_data, swap_texts
        from system.substitute import substitute_part
        from system.swap import swap_part
        from system.swap_advice import advise

        kit, reference = self.kit, self.reference
        made = substitute_part(kit, settings, reference, what, self.variants, named)
        swaps = swap_part(kit, made.kit, reference, self.variants, made.untouched)
        advice = {each.name: advise(each, reference) for each in swaps}
        self._show(
            made,
            swaps,
            f"{reference} {what}",
            {"ref": reference, "with": what, **swap_data.part(reference, swaps, advice)},
            lambda: swap_texts.part(kit, reference, swaps, advice, made.told),
        )

    def driver(self, what: str, settings: Sequence[str]) -> None:
        from system.sheets import swap_data, swap_texts
        from system.substitute import hookups_of, substitute_driver
        from system.swap_driver import swap_driver

        kit, reference = self.kit, self.reference
        made = substitute_driver(kit, settings, reference, what, self.variants)
        swaps = swap_driver(kit, made.kit, hookups_of(kit, reference), self.variants, made.untouched)
        self._show(
            made,
            [each for each, _ in swaps],
            f"{what} as {reference}",
            {"ref": reference, "with": what, **swap_data.driver(swaps)},
            lambda: swap_texts.driver(kit, reference, what, swaps, made.told),
        )

    def _show(self, made: Substituted, swaps: Sequence[Swap], what: str, content: dict[str, Any], text: Any) -> None:
        from system.checks import examine
        from system.sheets import data, swap_data

        seen = examine(made.kit, [each.after.result for each in swaps])
        findings = (*self.kit.findings, *made.told, *seen, *_no_excursion(self.kit, content))
        if self.csv is not None:
            files = {f"{each.name}.csv": swap_data.curves_csv(each) for each in swaps if not each.untouched}
            write_csv(self.csv, {"swap.csv": swap_data.swap_csv(swaps), **files}, self.force)

        def picture(_: Any) -> Any:
            from system.sheets import swap_graphs

            return swap_graphs.swap(self.kit, swaps, what)

        # the notes of the substitute stand in the text: `proofread` does not list them
        told = [finding for finding in findings if finding not in made.told or finding.severity != "note"]
        self.showing.show(
            findings if self.showing.as_json else told,
            picture,
            lambda: data.document(self.kit.name, findings, **content),
            text,
            self.csv,
        )
        if swap_data.result(swaps) not in ("pass", "marginal"):
            raise typer.Exit(1)

    def table(self) -> None:
        from system.checks import examine_impedance
        from system.findings import usage_error
        from system.sheets import data, swap_data, swap_texts
        from system.substitute import place_of
        from system.swap_table import table

        kit, reference = self.kit, self.reference
        if place_of(kit, reference) is None:
            raise usage_error(f"--table for {reference}, a driver", "a table is of the values of a part; use --with")
        fitted = [each for each in self.variants if each.places[reference].state == "fit"]
        if not fitted:
            names = ", ".join(each.name for each in self.variants)
            raise usage_error(f"--table for {reference}, which is not fitted in {names}", "name a variant that has it")
        found = [table(kit, each, reference) for each in fitted]
        findings = (*kit.findings, *examine_impedance(kit, fitted))
        if self.csv is not None:
            write_csv(self.csv, {"table.csv": swap_data.table_rows_csv(found)}, self.force)

        def picture(_: Any) -> Any:
            from system.sheets import swap_graphs

            return swap_graphs.table(kit, reference, found)

        self.showing.show(
            findings,
            picture,
            lambda: data.document(kit.name, findings, **swap_data.table(reference, found)),
            lambda: swap_texts.table(kit, reference, found),
            self.csv,
        )


def _no_excursion(kit: Kit, content: dict[str, Any]) -> tuple[Finding, ...]:
    """Why there is no excursion at the top of the document, if there is none."""
    if content["excursion_mm"] is not None:
        return ()
    found = f"{kit.name} has no excursion_mm"
    return (kit.finding("note", "no_figure", "drivers", found, "its drivers are known by their tables only"),)
