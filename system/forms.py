"""Other passive forms of a protective high-pass: two capacitors in series, and a resistor across or behind one."""

from __future__ import annotations

from collections.abc import Iterable

from system.candidates import Candidate, alike, damped, in_series
from system.means import UNCERTAINTY
from system.states import Figures
from system.view import View

CAPACITORS = 2  # that are tried with a resistor
IN_SERIES = 3  # pairs of two in series that are told


def other_forms(view: View, offered: Iterable[Figures | None]) -> tuple[Figures, ...]:
    """The best pairs in series, then the capacitors first `offered`, each with its best resistor in every wiring.

    None is nothing, and what is near an earlier one is passed over.
    """
    states = view.states
    model, place = states.model, states.place
    pairs = view.figures(in_series(states.kit, model, place, states.candidates))
    found = sorted(pairs, key=worth)[:IN_SERIES]
    for candidate in _first(offered):
        tried = view.figures(damped(states.kit, model, place, candidate))
        found += sorted(best_of_each(tried), key=_wiring)
    return tuple(found)


def worth(figures: Figures) -> tuple[bool, float]:
    """What is tried is ranked by: practicable first, then how loud it may be played before a limit, of either signal.

    A margin counts up to the model's own uncertainty. Margin alone would always ask for the largest resistor: it makes
    the woofer quieter, and moves it less by that.
    """
    level, margin = figures.full_level or 0.0, figures.margins.decisive or 0.0
    return bool(figures.refused), -(level + min(UNCERTAINTY, margin))


def _wiring(figures: Figures) -> str:
    damping = figures.candidate.damping if figures.candidate else None
    return damping.wiring if damping else ""


def _first(offered: Iterable[Figures | None]) -> list[Candidate]:
    kept: list[Candidate] = []
    for figures in offered:
        candidate = figures.candidate if figures else None
        if candidate is not None and not any(alike(candidate.value, other.value) for other in kept):
            kept.append(candidate)
    return kept[:CAPACITORS]


def best_of_each(tried: Iterable[Figures]) -> list[Figures]:
    """Of two in series, and of each wiring of a resistor, what is worth most."""
    best: dict[str, Figures] = {}
    for figures in sorted(tried, key=worth):
        best.setdefault(_wiring(figures), figures)
    return list(best.values())
