"""From the kit file's models to the kit: every name looked up, every default written out, every variant complete."""

from __future__ import annotations

from system import kitmodel as edge
from system.context import Context
from system.kit import AirSpec, Kit
from system.resolve_board import Board, resolve_board
from system.resolve_cabinets import resolve_cabinet
from system.resolve_choice import resolve_meter, resolve_revalue, resolve_spread, resolve_step, resolve_window
from system.resolve_drivers import resolve_driver
from system.resolve_layout import resolve_layout
from system.resolve_settings import resolve_air, resolve_amplifier, resolve_assembly, resolve_programme, resolve_stock
from system.resolve_variants import Surroundings, resolve_variant


def resolve(file: edge.KitFile, context: Context) -> Kit | None:
    """The kit, or None if the report has errors. What is sound is checked even where something else is not."""
    report = context.report
    context.air = air = resolve_air(file.air, context)
    amplifier = resolve_amplifier(file.amplifier, context)
    programme = resolve_programme(file.programme, context)
    stock = resolve_stock(file.stock, context)
    meter = resolve_meter(file.meter, context)
    window = resolve_window(file.window, meter, context)
    spread = resolve_spread(file.spread, context)
    drivers = {
        name: resolve_driver(name, driver, context) if driver else None for name, driver in (file.drivers or {}).items()
    }
    board = resolve_board(file.crossover, drivers if file.drivers else None, context)
    _check_axis(file.listening, board, context)
    cabinets = {
        name: resolve_cabinet(name, cabinet, board.drivers, context) if cabinet else None
        for name, cabinet in (file.cabinets or {}).items()
    }
    lowest_load = file.amplifier.lowest_load if file.amplifier else None
    shared = Surroundings(board, cabinets if file.cabinets else None, file.listening, lowest_load)
    variants = {
        name: resolve_variant(name, variant, shared, context) if variant else None
        for name, variant in (file.variants or {}).items()
    }
    places = (place for variant in variants.values() if variant for place in variant.places.values())
    warm = [*(driver and driver.thermal for driver in drivers.values()), *(p.part.temperature_rise for p in places)]
    assembly = resolve_assembly(file.assembly, any(warm), context)
    revalue = resolve_revalue(file.revalue, board, variants, context)
    step_set_by = resolve_step(file.crossover, board, variants, context)
    layout = resolve_layout(file.layout, board, variants, context)
    if report.faulty:
        return None
    _note_unused(file, context)
    assert amplifier  # what lacks one of these ten has had its error
    assert programme
    assert stock
    assert assembly
    assert meter
    assert window
    assert spread
    assert revalue
    assert board.input
    assert file.kit
    return Kit(
        name=file.kit,
        path=context.kit_file,
        air=AirSpec(air.density, air.speed_of_sound, air.viscosity, air.prandtl, air.heat_ratio),
        amplifier=amplifier,
        programme=programme,
        stock=stock,
        drivers={name: driver for name, driver in drivers.items() if driver},
        input=board.input,
        variants={name: variant for name, variant in variants.items() if variant},
        findings=report.sorted(),
        positions=report.positions(),
        assembly=assembly,
        window=window,
        meter=meter,
        spread=spread,
        revalue=revalue,
        step_set_by=step_set_by,
        layout=layout,
    )


def _check_axis(listening: edge.Listening | None, board: Board, context: Context) -> None:
    axis = listening.axis if listening else None
    if axis is not None and board.hookups is not None and axis not in board.hookups:
        context.unknown_name(("listening", "axis"), axis, list(board.hookups), "hookup name")


def _note_unused(file: edge.KitFile, context: Context) -> None:
    """Drivers and cabinets that nothing uses; called for a kit without errors."""
    hookups = (file.crossover.hookup if file.crossover else None) or {}
    used_drivers = {hookup.driver for hookup in hookups.values() if hookup}
    used_cabinets = {variant.cabinet for variant in (file.variants or {}).values() if variant}
    for name in file.cabinets or {}:
        if name not in used_cabinets:
            context.report.note("unused", ("cabinets", name), f"no variant uses cabinet {name}", key=True)
    for name in file.drivers or {}:
        if name not in used_drivers:
            context.report.note("unused", ("drivers", name), f"driver {name} is not hooked up", key=True)
