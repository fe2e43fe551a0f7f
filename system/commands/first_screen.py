"""The first screen: what `kitwright KIT.yaml` alone shows."""

from __future__ import annotations

from system.commandline import FIRST_SCREEN, KitFile, Settings, Variants, app, chosen, command, load
from system.sheets.showing import say_data


@app.command(FIRST_SCREEN, hidden=True)
@command
def overview(kit: KitFile, variant: Variants = None, settings: Settings = None) -> None:
    """Every variant on one screen: verdict, how loud, how low, how hard on the amplifier, which parts differ."""
    from system.overview import overview as compute
    from system.sheets.texts import first_screen

    loaded = load(kit, settings)
    say_data(first_screen(kit, compute(loaded, chosen(loaded, variant))))
