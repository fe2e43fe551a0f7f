"""The command `protect`."""

from __future__ import annotations

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
from system.progress import progress
from system.sheets.showing import Showing, write_csv


@app.command()
@command
def protect(
    kit: KitFile,
    variant: Variants = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    csv: CsvFolder = None,
    seed: Seed = 0,
    force: Force = False,
) -> None:
    """Does a woofer need a high-pass? Verdict, evidence, choices from stock, how many builds it holds for."""
    from system.checks import examine_impedance
    from system.protect import Closely
    from system.protect import protect as compute
    from system.sheets import protect_data, protect_texts
    from system.sheets.data import document as whole

    loaded = load(kit, settings)
    showing = Showing.of(kit, output, as_json, force)
    variants = chosen(loaded, variant)
    findings = (*loaded.findings, *examine_impedance(loaded, variants))
    with progress("protect", variants) as in_turn:
        verdicts = {each.name: compute(loaded, each, Closely(seed)) for each in in_turn}
    if csv is not None:
        every = (verdict for each in verdicts.values() for verdict in each)
        write_csv(csv, {"choices.csv": protect_data.choices_csv(every)}, force)

    def document() -> str:
        content = {name: {v.driver: protect_data.verdict(v) for v in each} for name, each in verdicts.items()}
        return whole(loaded.name, findings, variants=content)

    showing.show(
        findings,
        lambda graphs: graphs.protection(loaded, verdicts),
        document,
        lambda: protect_texts.protection(loaded, verdicts),
        csv,
    )
