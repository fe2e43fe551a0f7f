"""What a prediction says about the build itself: dangers to the amplifier, and where the model knows no more."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from system.build import build, fill
from system.detail import Detail
from system.findings import Finding, KitError
from system.handover import CLEAR
from system.kit import DriverData, Kit, LineChamber, Variant
from system.predict import Prediction, Summary, summarise

# Apart by more than this where it takes over, a response table does not belong to the parameters: our own judgement.
APART_DB, APART_DEG = 3.0, 60.0
STAYS = "from 10 Hz up to the reference band the level stays above that mark"


def examine(kit: Kit, predictions: Sequence[Prediction]) -> tuple[Finding, ...]:
    """Findings about the predicted variants, in their order.

    Raises KitError where a link brings the impedance anywhere under half of what the amplifier stands.
    """
    findings = [finding for result in predictions for finding in _variant(kit, result)]
    findings += [f for data in _drivers(predictions) for f in _tables(kit, data, predictions)]
    if any(finding.severity == "error" for finding in findings):
        raise KitError((*kit.findings, *findings), kit.name)
    return tuple(findings)


def examine_impedance(kit: Kit, variants: Sequence[Variant]) -> tuple[Finding, ...]:
    """The part of `examine` that asks whether the amplifier stands each variant; no prediction. Raises KitError."""
    findings = [f for variant in variants for f in _impedance(kit, variant, summarise(build(kit, variant)))]
    if any(finding.severity == "error" for finding in findings):
        raise KitError((*kit.findings, *findings), kit.name)
    return tuple(findings)


def no_current(kit: Kit, variant: Variant, so: str) -> KitError:
    """The error where a variant draws no current, and `so` a question has no answer."""
    found = f"{variant.name} draws no current, and {so}"
    return KitError(
        [kit.finding("error", "no_current", f"variants.{variant.name}", found, "join its two input points")], kit.name
    )


def _impedance(kit: Kit, variant: Variant, figures: Summary) -> Iterable[Finding]:
    lowest_load, path = kit.amplifier.lowest_load, f"variants.{variant.name}"
    lowest, at = figures.lowest_impedance_ohm, figures.lowest_impedance_hz
    if lowest is None:
        yield kit.finding(
            "warning", "no_current", path, f"{variant.name} draws no current: nothing joins the two input points",
            "its impedance is infinite, and null in the output",
        )  # fmt: skip
        return
    if lowest_load is not None and lowest < lowest_load / 2 and _because_of_a_link(kit, variant, lowest_load):
        yield kit.finding(
            "error", "impedance_link", path,
            f"with a place linked the impedance falls to {lowest:.1f} ohm at {at:.0f} Hz",
            f"at least half of the amplifier's lowest_load, {lowest_load / 2:g} ohm",
        )  # fmt: skip
    elif lowest_load is not None and lowest < lowest_load:
        yield kit.finding(
            "warning", "impedance_low", path,
            f"the impedance falls to {lowest:.1f} ohm at {at:.0f} Hz",
            f"the amplifier's lowest_load is {lowest_load:g} ohm",
        )  # fmt: skip


def _variant(kit: Kit, result: Prediction) -> Iterable[Finding]:
    variant, figures = result.variant, result.summary
    yield from _impedance(kit, variant, figures)
    nothing = {
        "minus_3_db_hz": figures.minus_3_db_hz is None and STAYS,
        "minus_10_db_hz": figures.minus_10_db_hz is None and STAYS,
        "rated_impedance_ohm": figures.lowest_impedance_ohm is not None
        and figures.rated_impedance_ohm is None
        and "the lowest impedance is under 80 % of 2 ohm",
        "filling.minus_3_db_hz": result.detail is not None
        and result.detail.filling is not None
        and result.detail.filling.band.minus_3 is None
        and "with one of the fillings it may have there is no -3 dB point",
    }
    for name, why in nothing.items():
        if why:
            yield kit.finding("note", "no_figure", f"variants.{variant.name}", f"{variant.name} has no {name}", why)
    if result.detail is not None:
        yield from _handovers(kit, variant, result.detail)
    for number, chamber in enumerate(variant.cabinet.chambers):
        here = f"cabinets.{variant.cabinet.name}.chambers.{number}"
        fills = [made for spec in chamber.fills if (made := fill(spec))]
        lowest, highest = float(result.frequency[0]), float(result.frequency[-1])
        for low, high in sorted({made.fitted_range for made in fills if made.fitted_range}):
            if lowest < low or highest > high:
                yield kit.finding(
                    "note", "fill_range", here,
                    f"the power law of this filling was fitted from {low:.0f} to {high:.0f} Hz",
                    "outside it is used as printed",
                )  # fmt: skip
        active = max((made.passive_from for made in fills), default=0.0)
        if lowest < active:
            yield kit.finding(
                "warning", "fill_gives_power", here,
                f"below {active:.0f} Hz the power law makes this filling give out power, which no filling does",
                "model: low_frequency holds there",
            )  # fmt: skip
        if not isinstance(chamber, LineChamber) and chamber.fill and chamber.fill.model == "rigid_fibre":
            yield kit.finding(
                "warning", "fill_without_effect", here,
                "the rigid_fibre model leaves the air adiabatic, so in a box this filling changes nothing",
                "power_law works in boxes, rigid_fibre in lines",
            )  # fmt: skip


def _handovers(kit: Kit, variant: Variant, detail: Detail) -> Iterable[Finding]:
    for join in detail.joins:
        if abs(join.level) > APART_DB or abs(join.phase) > APART_DEG:
            yield kit.finding(
                "warning", "response_join", f"drivers.{variant.hookups[join.driver].driver.name}.response",
                f"at {math.sqrt(join.low * join.high):.0f} Hz the table of {join.driver} is {join.level:+.1f} dB and"
                f" {join.phase:+.0f} degrees from what its parameters give",
                f"within {APART_DB:g} dB and {APART_DEG:g} degrees: it takes over there",
            )  # fmt: skip
    for polarity in detail.polarities:
        if polarity.gain < -CLEAR:
            yield kit.finding(
                "warning", "polarity", f"variants.{variant.name}",
                f"turned the other way round {polarity.driver} sums {-polarity.gain:.1f} dB louder"
                f" about {polarity.crossover:.0f} Hz",
                "",
            )  # fmt: skip


def _because_of_a_link(kit: Kit, variant: Variant, lowest_load: float) -> bool:
    """Whether the impedance stays above half of `lowest_load` with the linked places fitted."""
    places = {name: replace(p, state="fit") if p.state == "link" else p for name, p in variant.places.items()}
    if all(place.state != "link" for place in variant.places.values()):
        return False
    fitted = summarise(build(kit, replace(variant, places=places)))
    return fitted.lowest_impedance_ohm is None or fitted.lowest_impedance_ohm >= lowest_load / 2


def _drivers(predictions: Sequence[Prediction]) -> list[DriverData]:
    """Each driver of the predicted variants once."""
    hookups = (h.driver for result in predictions for h in result.variant.hookups.values())
    return list({driver.name: driver for driver in hookups}.values())


def _tables(kit: Kit, data: DriverData, predictions: Sequence[Prediction]) -> Iterable[Finding]:
    path = f"drivers.{data.name}"
    if data.small_signal is None:
        yield kit.finding(
            "note", "excursion_unknown", path,
            f"the excursion of {data.name} is not known", "it needs small-signal parameters, not only tables",
        )  # fmt: skip
    elif data.impedance is not None and any(_in_chamber(result.variant, data) for result in predictions):
        yield kit.finding(
            "warning", "impedance_table_unused", f"{path}.impedance",
            f"{data.name} works into a chamber, which its impedance table knows nothing of",
            "its small-signal parameters are used instead",
        )  # fmt: skip
    tables = {"impedance": data.impedance, "response": data.response.table if data.response else None}
    low = min(float(result.frequency[0]) for result in predictions)
    high = max(float(result.frequency[-1]) for result in predictions)
    beyond = {"impedance": "held at its end values", "response": "12 dB an octave below and level above"}
    for what, table in tables.items():
        if table and (low < table.frequency[0] or high > table.frequency[-1]):
            yield kit.finding(
                "note", "table_range", f"{path}.{what}",
                f"{table.file} covers {table.frequency[0]:g} Hz to {table.frequency[-1]:g} Hz",
                f"beyond that it is continued: {beyond[what]}",
            )  # fmt: skip
        if table and table.phase is None:
            yield kit.finding(
                "note", "minimum_phase", f"{path}.{what}",
                f"{table.file} has no phase", "the phase is taken as minimum phase",
            )  # fmt: skip
    mounted = data.response.mounted if data.response else None
    if mounted == "standard_baffle":
        yield kit.finding(
            "note", "standard_baffle", f"{path}.response",
            "the response was measured on a standard baffle (IEC 60268-5)", "it is treated as measured in a wall",
        )  # fmt: skip
    if mounted == "this_cabinet" and any(result.variant.placement.kind == "in_wall" for result in predictions):
        yield kit.finding(
            "note", "cabinet_table_in_wall", f"{path}.response",
            "the response was measured in its cabinet, and a variant is in a wall",
            "there it is used as if measured in that wall",
        )  # fmt: skip


def _in_chamber(variant: Variant, data: DriverData) -> bool:
    housed = {name for chamber in variant.cabinet.chambers for name in chamber.drivers}
    return any(h.driver.name == data.name and h.name in housed for h in variant.hookups.values())
