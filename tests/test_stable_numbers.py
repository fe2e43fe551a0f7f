"""What counts as the same number in `tests.numbers`, by the rule that stands there."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.numbers import count, differences

PHASOR = math.log10(1 + 1e-9) * 20  # dB that 1e-9 of a phasor are
TURN = math.degrees(1e-9)  # degrees that 1e-9 of it at a right angle are


@pytest.mark.parametrize(
    ("here", "there"),
    [
        ({"ohm": 8.0}, {"ohm": 8.0 * (1 + 0.9e-9)}),
        ({"ohm": 0.0}, {"ohm": 1e-13}),
        ({"curve": [1.0, 1e-12]}, {"curve": [1.0, 5e-10]}),  # of the largest of the list
        ({"level_db": [1e-3]}, {"level_db": [1e-3 + 0.99 * PHASOR]}),
        ({"level_db": {"lowest": [1e-3]}}, {"level_db": {"lowest": [1e-3 + 0.99 * PHASOR]}}),
        ({"phase_deg": 180.0}, {"phase_deg": -180.0 + 0.9 * TURN}),
        ({"a": [None, True, 3, "word"]}, {"a": [None, True, 3, "word"]}),
    ],
)
def test_these_are_the_same(here: Any, there: Any) -> None:
    assert list(differences(here, there)) == []
    assert list(differences(there, here)) == []


@pytest.mark.parametrize(
    ("here", "there", "path"),
    [
        ({"ohm": 8.0}, {"ohm": 8.0 * (1 + 1.1e-9)}, "ohm"),
        ({"ohm": 0.0}, {"ohm": 1e-11}, "ohm"),
        ({"curve": [1.0, 1e-12]}, {"curve": [1.0, 2e-9]}, "curve[1]"),
        ({"level_db": [1e-3]}, {"level_db": [1e-3 + 1.1 * PHASOR]}, "level_db[0]"),
        ({"phase_deg": 180.0}, {"phase_deg": -180.0 + 1.1 * TURN}, "phase_deg"),
        ({"phase_deg": 1.0}, {"phase_deg": 181.0}, "phase_deg"),
        ({"a": {"b": 3}}, {"a": {"b": 4}}, "a.b"),
        ({"a": 1.0}, {"a": None}, "a"),
        ({"a": 1}, {"a": True}, "a"),
        ({"a": "pass"}, {"a": "fail"}, "a"),
        ({"a": [1.0]}, {"a": [1.0, 2.0]}, "a"),
        ({"a": 1.0}, {"a": 1.0, "b": 2.0}, ""),
    ],
)
def test_these_differ(here: Any, there: Any, path: str) -> None:
    assert [each.path for each in differences(here, there)] == [path]
    assert [each.path for each in differences(there, here)] == [path]


def test_numbers_are_counted_and_other_things_not() -> None:
    assert count({"a": [1, 2.5, None, "3", True], "b": {"c": -1e-9}}) == 3
