"""Verdicts on a protective high-pass as plain data for JSON and CSV, in the units their names say."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from system.confidence import Confidence
from system.means import Means
from system.protect import Verdict, Word
from system.shares import Share
from system.sheets.data import table_csv
from system.states import Figures


def verdict(result: Verdict) -> dict[str, Any]:
    """One woofer of one variant of `protect --json`."""
    band = result.worse_band
    return {
        "verdict": result.verdict,
        "because": result.because,
        "place": result.place,
        "state": result.state,
        "decided_by": result.link.margins.decided_by if result.link else None,
        "sine_volts": result.sine_volts,
        "programme_volts": result.programme_volts,
        "linear_excursion_mm": _scaled(result.linear_limit, 1e3),
        "damage_excursion_mm": _scaled(result.damage_limit, 1e3),
        "worse_band_hz": list(band) if band else None,
        "assumed": list(result.assumed),
        "costs_in_wall": result.costs_in_wall,
        "link": choice(result.link) if result.link else None,
        "fitted": choice(result.fitted) if result.fitted else None,
        "named": choice(result.named) if result.named else None,
        "choices": [choice(figures) for figures in result.choices],
        "forms": [_form(form.figures, form.judged) for form in result.forms],
        "confidence": _confidence(result.confidence) if result.confidence else None,
        "not_if": [means(item) for item in result.breaks],
        "other_means": [means(item) for item in result.other_means],
    }


def choice(figures: Figures) -> dict[str, Any]:
    """One state of the protective place."""
    candidate = figures.candidate
    return {
        "value_f": figures.value,
        "made_of_f": list(figures.made_of),
        "made_of_how": candidate.how if candidate and len(figures.made_of) > 1 else None,
        "peak_excursion_mm": figures.peak_excursion * 1e3,
        "peak_excursion_hz": figures.peak_excursion_hz,
        "programme_excursion_mm": _scaled(figures.programme_excursion, 1e3),
        "minus_3_db_hz": figures.minus_3,
        "ripple_db": figures.ripple,
        "lowest_impedance_ohm": figures.lowest_impedance,
        "part_volts_peak": figures.part_volts_peak,
        "part_current_a": figures.part_current,
        "margin_db": figures.margins.decisive,
        "margin_programme_db": figures.margins.programme,
        "margin_sine_db": figures.margins.sine,
        "margin_sine_to_linear_db": figures.margins.sine_to_linear,
        "maximum_level_db": figures.maximum_level,
        "worse_band_hz": list(figures.worse_band) if figures.worse_band else None,
        "not_practicable": list(figures.refused),
    }


def _form(figures: Figures, judged: Word | None = None) -> dict[str, Any]:
    """Another passive form: what `choice` says of any, its resistor, and the verdict if it were the only choice."""
    damping = figures.candidate.damping if figures.candidate else None
    heat = figures.heat
    return {
        **choice(figures),
        "judged": judged,
        "resistor_ohm": damping.value if damping else None,
        "resistor_wiring": damping.wiring if damping else None,
        "resistor_sine_w": heat.sine if heat else None,
        "resistor_programme_w": heat.programme if heat else None,
    }


def _confidence(confidence: Confidence) -> dict[str, Any]:
    return {
        "seed": confidence.seed,
        "builds": confidence.link.copies,
        "law": confidence.law,
        "link": _share(confidence.link),
        "fitted": _share(confidence.fitted) if confidence.fitted else None,
        "named": _share(confidence.named) if confidence.named else None,
    }


def _share(share: Share) -> dict[str, Any]:
    """How many builds stay inside, and the 95 % interval of the share."""
    low, high = share.interval
    return {"inside": share.keep, "share": share.value, "share_95": [low, high]}


def means(item: Means) -> dict[str, Any]:
    """Another means with what it costs; of a `box_volume` that cannot be told, nulls."""
    figures = item.figures
    return {
        "means": item.means,
        "text": item.text,
        "margin_db": item.margin,
        "volts": item.volts,
        "corner_hz": item.high_pass.corner if item.high_pass else None,
        "order": item.high_pass.order if item.high_pass else None,
        "volume_l": _scaled(item.volume, 1e3),
        "minus_3_db_hz": figures.minus_3 if figures else None,
        "ripple_db": figures.ripple if figures else None,
        "lowest_impedance_ohm": figures.lowest_impedance if figures else None,
        "peak_excursion_mm": figures.peak_excursion * 1e3 if figures else None,
        "programme_excursion_mm": _scaled(figures.programme_excursion, 1e3) if figures else None,
        "maximum_level_db": figures.maximum_level if figures else None,
        "level_db": item.level,
    }


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def choices_csv(results: Iterable[Verdict]) -> str:
    """Every state of every place, a row each: linked, the kit's own capacitor, the choices, then the other forms."""
    rows = []
    header: list[str] = []
    for result in results:
        states = [(figures, None) for figures in (result.link, result.fitted, *result.choices) if figures is not None]
        for figures, judged in [*states, *((form.figures, form.judged) for form in result.forms)]:
            data = _form(figures, judged)
            header = ["variant", "driver", *data]
            cells = [" ".join(map(str, v)) if isinstance(v, list) else v for v in data.values()]
            rows.append([result.variant, result.driver, *cells])
    return table_csv(header, rows)
