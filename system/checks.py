"""What a prediction says about the build itself: dangers to the amplifier, and where the model knows no more."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from system.build import build
from system.findings import Finding, KitError
from system.kit import DriverData, Kit, LineChamber, Variant
from system.predict import Prediction, summarise


def examine(kit: Kit, predictions: Sequence[Prediction]) -> tuple[Finding, ...]:
    """Findings about the predicted variants, in their order.

    Raises KitError where a link brings the impedance anywhere under half of what the amplifier stands.
    """
    findings = [finding for result in predictions for finding in _variant(kit, result)]
    findings += [f for data in _drivers(predictions) for f in _tables(kit, data, predictions)]
    errors = [finding for finding in findings if finding.severity == "error"]
    if errors:
        raise KitError(errors, kit.name)
    return tuple(findings)


def _variant(kit: Kit, result: Prediction) -> Iterable[Finding]:
    variant, lowest_load = result.variant, kit.amplifier.lowest_load
    path = f"variants.{variant.name}"
    lowest, at = result.summary.lowest_impedance_ohm, result.summary.lowest_impedance_hz
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
    baffle = variant.cabinet.baffle
    if baffle is not None and baffle.edge_radius > 0 and variant.placement.kind != "in_wall":
        yield kit.finding(
            "warning", "edges_sharp", f"cabinets.{variant.cabinet.name}.baffle.edge_radius",
            f"edge_radius {baffle.edge_radius * 1e3:g} mm is not in the model: the edges are computed sharp",
            "",
        )  # fmt: skip
    for number, chamber in enumerate(variant.cabinet.chambers):
        fills = [s.fill for s in chamber.profile] if isinstance(chamber, LineChamber) else [chamber.fill]
        sigma = [fill.flow_resistivity for fill in fills if fill and fill.model == "power_law"]
        low, high = float(result.frequency[0]), float(min(result.frequency[-1], 500.0))
        if any(low < 0.01 * s or high > s for s in sigma):
            span = f"{0.01 * min(sigma):.0f} to {min(sigma):.0f} Hz" if sigma else ""
            yield kit.finding(
                "note", "fill_range", f"cabinets.{variant.cabinet.name}.chambers.{number}",
                f"the power-law model of the filling is published for {span} at this flow resistivity",
                "outside it is used as printed",
            )  # fmt: skip


def _because_of_a_link(kit: Kit, variant: Variant, lowest_load: float) -> bool:
    """Whether the impedance stays above half of `lowest_load` with the linked places fitted."""
    places = {name: replace(p, state="fit") if p.state == "link" else p for name, p in variant.places.items()}
    if all(place.state != "link" for place in variant.places.values()):
        return False
    fitted = summarise(build(kit, replace(variant, places=places)))
    return fitted.lowest_impedance_ohm >= lowest_load / 2


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
    response = data.response
    if response is not None:
        low = min(float(result.frequency[0]) for result in predictions)
        high = max(float(result.frequency[-1]) for result in predictions)
        table = response.table
        if low < table.frequency[0] or high > table.frequency[-1]:
            yield kit.finding(
                "note", "table_range", f"{path}.response",
                f"{table.file} covers {table.frequency[0]:g} Hz to {table.frequency[-1]:g} Hz",
                "it is continued with 12 dB an octave below and level above",
            )  # fmt: skip
        if table.phase is None:
            yield kit.finding(
                "note", "minimum_phase", f"{path}.response",
                f"{table.file} has no phase", "the phase is taken as minimum phase",
            )  # fmt: skip
        if response.mounted == "standard_baffle":
            yield kit.finding(
                "note", "standard_baffle", f"{path}.response",
                f"{table.file} was measured on a standard baffle (IEC 60268-5)", "it is treated as measured in a wall",
            )  # fmt: skip


def _in_chamber(variant: Variant, data: DriverData) -> bool:
    housed = {name for chamber in variant.cabinet.chambers for name in chamber.drivers}
    return any(h.driver.name == data.name and h.name in housed for h in variant.hookups.values())
