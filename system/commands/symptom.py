"""The command `symptom`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from system.commandline import AsJson, Force, Output, Settings, Variants, app, chosen, command, load
from system.completion import is_kit
from system.sheets.showing import Showing

Words = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="[WORD] [KIT.yaml]",
        help='What is wrong, such as thin or "no tweeter"; none: the list. With a kit the checks have its figures.',
        show_default=False,
    ),
]


@app.command()
@command
def symptom(
    words: Words = None,
    variant: Variants = None,
    settings: Settings = None,
    as_json: AsJson = False,
    output: Output = None,
    force: Force = False,
) -> None:
    """What to check, in which order, for a complaint; with a kit, what each check must read."""
    from system.bench.symptoms import find
    from system.bench.symptoms import symptom as compute
    from system.findings import usage_error
    from system.sheets import data, symptom_data, symptom_texts

    asked, kit = _parted(words or [])
    showing = Showing.of(kit or Path(), output, as_json, force)
    if showing.drawn:
        raise usage_error(f"-o {output}", "symptom draws nothing: a text ends in .json, .txt")
    if kit is None and (variant or settings):
        raise usage_error("--variant or --set without a kit", "kitwright symptom WORD KIT.yaml")
    word = find(" ".join(asked)) if asked else None
    if word is None:
        content = data.document("", (), symptoms=symptom_data.every())
        showing.show((), lambda _: None, lambda: content, symptom_texts.every)
    elif kit is None:
        plain = compute(word)
        content = data.document("", (), **symptom_data.symptom(plain))
        showing.show((), lambda _: None, lambda: content, lambda: symptom_texts.plain(plain))
    else:
        loaded = load(kit, settings)
        found = [compute(word, loaded, each) for each in chosen(loaded, variant)]
        showing.show(
            loaded.findings,
            lambda _: None,
            lambda: data.document(loaded.name, loaded.findings, **symptom_data.symptoms(found)),
            lambda: symptom_texts.symptoms(loaded, found),
        )


def _parted(words: list[str]) -> tuple[list[str], Path | None]:
    """The words of the complaint, and the kit where the last of them is a file."""
    if words and is_kit(words[-1]):
        return words[:-1], Path(words[-1])
    return words, None
