"""The command `expect`."""

from __future__ import annotations

from typing import Any

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
    app,
    asked_frequencies,
    chosen,
    command,
    load,
)
from system.sheets.showing import Showing, write_csv


@app.command()
@command
def expect(
    kit: KitFile,
    variant: Variants = None,
    start: From = None,
    stop: To = None,
    points: Points = None,
    frequencies: Frequencies = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """What an ohmmeter and an impedance sweep must read on a crossover built as drawn, and what that proves."""
    from system import grid
    from system.bench.expect import expect as compute
    from system.checks import examine_impedance
    from system.findings import usage_error
    from system.sheets import data, expect_data, expect_texts

    loaded = load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    if seed < 0:
        raise usage_error(f"--seed {seed}", "0 or more")
    asked = asked_frequencies(frequencies, start, stop, points)
    asked = grid.logarithmic() if asked is None else asked
    variants = chosen(loaded, variant)
    if variant:
        variants.sort(key=lambda each: variant.index(each.name))
    findings = (*loaded.findings, *examine_impedance(loaded, variants))
    results = [compute(loaded, each, asked, seed=seed) for each in variants]
    if csv is not None:
        files = {f"{result.variant.name}.csv": expect_data.sweep_csv(result) for result in results}
        write_csv(csv, {"readings.csv": expect_data.readings_csv(results), **files}, force)

    def picture(_: Any) -> Any:
        from system.sheets import expect_graphs

        return expect_graphs.expect(loaded, results)

    showing.show(
        findings,
        picture,
        lambda: data.document(loaded.name, findings, **expect_data.expect(loaded, results)),
        lambda: expect_texts.expect(loaded, results),
        csv,
    )
