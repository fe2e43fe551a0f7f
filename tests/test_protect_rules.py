"""The verdict's rules, one by one, on figures made for them."""

from __future__ import annotations

import pytest

from system.protect import decide
from system.states import Figures, Margins


def state(
    programme: float | None, sine: float | None = None, value: float | None = 100e-6, refused: tuple[str, ...] = ()
) -> Figures:
    return Figures(
        value=value,
        made_of=(),
        peak_excursion=1e-3,
        peak_excursion_hz=50,
        programme_excursion=1e-3,
        minus_3=60,
        ripple=1,
        lowest_impedance=4,
        part_volts_peak=30,
        part_current=2,
        margins=Margins(programme, sine, None),
        worse_band=None,
        refused=refused,
    )


def linked(programme: float | None, sine: float | None = None) -> Figures:
    return state(programme, sine, value=None)


def test_without_a_margin_nothing_is_decided() -> None:
    assert decide(linked(None), [state(3)]) == ("undecided", None)


@pytest.mark.parametrize(("margin", "word"), [(1.5, "not_needed"), (1.49, "undecided"), (6, "not_needed")])
def test_not_needed_from_the_models_uncertainty_up(margin: float, word: str) -> None:
    assert decide(linked(margin), [state(margin)])[0] == word


def test_the_smaller_margin_decides() -> None:
    assert linked(5, -2).margins.decisive == -2
    assert linked(5, -2).margins.decided_by == "sine"
    assert linked(-3, 4).margins.decided_by == "programme"
    assert linked(5).margins.decisive == 5


def test_needed_takes_the_best_cure() -> None:
    best = state(2.0)
    assert decide(linked(-1), [state(0.5), best, state(9, refused=("ripple",))]) == ("needed", best)


def test_a_cure_must_be_at_least_1_db_better() -> None:
    assert decide(linked(-0.4), [state(0.5)])[0] == "undecided"
    assert decide(linked(-0.4), [state(0.6)])[0] == "needed"


def test_over_its_limit_without_a_cure_a_choice_can_still_help() -> None:
    helper = state(-3.0)
    assert decide(linked(-6), [helper]) == ("helps", helper)


def test_makes_worse_when_every_choice_lowers_the_margin() -> None:
    assert decide(linked(-1), [state(-1.6), state(-3, refused=("ripple",))])[0] == "makes_worse"
    assert decide(linked(-1), [state(-1.5), state(-3)])[0] == "undecided"
    assert decide(linked(-1), [])[0] == "undecided"


def test_help_on_one_signal_must_not_cost_the_other() -> None:
    """The decisive margin gains 2 dB, but the other signal loses 0.6: no help."""
    assert decide(linked(0.0, 3.0), [state(2.0, 2.4)])[0] == "undecided"
    assert decide(linked(0.0, 3.0), [state(2.0, 2.5)])[0] == "helps"


def test_an_impracticable_choice_is_never_named() -> None:
    assert decide(linked(0.5), [state(3, refused=("its rating",))]) == ("undecided", None)
