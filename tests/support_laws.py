"""Kits before they are files, laws about them, and what laws compare.

A draft prints as its kit file, so what a law is broken by can be copied and run. `law` makes two tests of one law: a
few kits each time, many where slow tests are asked for.
"""

from __future__ import annotations

import copy
import tempfile
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
import yaml
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from system.api import load_kit
from system.kit import Kit
from system.predict import Prediction, Summary, predict

FREQUENCY = np.geomspace(18.0, 19e3, 17)  # Hz, enough for laws that hold at every frequency
NO_FIGURES = Summary(0.0, None, None, None, None, None, {})  # the summary has a long grid of its own


class Amount(NamedTuple):
    """A number with its unit, as typed; decimal, so that another unit changes nothing but the place of the point."""

    number: Decimal
    unit: str

    def __str__(self) -> str:
        return f"{self.number:f} {self.unit}".strip()

    def times(self, factor: float | Decimal) -> Amount:
        return Amount(self.number * Decimal(factor), self.unit)


Tree = dict[str, Any]


class Draft:
    """A kit before it is a file. `tree` is never changed in place; `changed` makes another."""

    def __init__(self, tree: Tree, files: Mapping[str, str] | None = None) -> None:
        self.tree, self.files = tree, files or {}

    def __repr__(self) -> str:
        return f"\n{self.text}"

    @property
    def text(self) -> str:
        return yaml.safe_dump(
            _plain(self.tree), sort_keys=False, default_flow_style=None, width=120, allow_unicode=True
        )

    def kit(self, *what_if: str) -> Kit:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "kit.yaml"
            path.write_text(self.text, encoding="utf-8")
            for name, text in self.files.items():
                (Path(folder) / name).write_text(text, encoding="utf-8")
            return load_kit(path, what_if)

    def predict(self, frequency: Any = FREQUENCY, volts: float = 2.83, what_if: Sequence[str] = ()) -> Prediction:
        kit = self.kit(*what_if)
        return predict(kit, kit.variants["v"], np.asarray(frequency), volts, NO_FIGURES)

    def changed(self, change: Callable[[Tree], None]) -> Draft:
        tree = copy.deepcopy(self.tree)
        change(tree)
        return Draft(tree, self.files)

    def put(self, path: str, value: Any) -> Draft:
        """With `value` at a dotted path."""
        *way, last = path.split(".")

        def change(tree: Tree) -> None:
            for key in way:
                tree = tree.setdefault(key, {})
            tree[last] = value

        return self.changed(change)

    def mapped(self, change: Callable[[Amount], Amount]) -> Draft:
        """With every amount changed."""
        return Draft(_mapped(self.tree, change), self.files)

    @property
    def parts(self) -> Tree:
        return self.tree["crossover"]["parts"]

    @property
    def hookup(self) -> Tree:
        return self.tree["crossover"]["hookup"]

    @property
    def chambers(self) -> list[Tree]:
        return self.tree["cabinets"]["box"].get("chambers", [])


def _plain(value: Any) -> Any:
    if isinstance(value, Amount):
        return str(value)
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    return [_plain(inner) for inner in value] if isinstance(value, list) else value


def _mapped(value: Any, change: Callable[[Amount], Amount]) -> Any:
    if isinstance(value, Amount):
        return change(value)
    if isinstance(value, dict):
        return {key: _mapped(inner, change) for key, inner in value.items()}
    return [_mapped(inner, change) for inner in value] if isinstance(value, list) else value


def law(few: int, many: int, **drawn: st.SearchStrategy[Any]) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Make two tests of a law on what is `drawn`: with few examples, and with many where slow tests are asked for."""

    def make(body: Callable[..., None]) -> Callable[..., None]:
        @pytest.mark.parametrize(
            "examples", [pytest.param(few, id="few"), pytest.param(many, id="many", marks=pytest.mark.slow)]
        )
        def test(examples: int) -> None:
            phases = [Phase.generate, Phase.shrink]
            how = settings(max_examples=examples, phases=phases, suppress_health_check=[HealthCheck.too_slow])
            how(given(**drawn)(body))()

        test.__name__, test.__doc__, test.__module__ = body.__name__, body.__doc__, body.__module__
        test.body, test.drawn = body, drawn  # type: ignore[attr-defined]
        return test

    return make


# What laws compare.

ROUNDING = 1e-9  # a double has 16 digits; a circuit of ten points that takes 100 dB off loses some of them


def close(found: Any, expected: Any, scale: Any = None, tolerance: float = ROUNDING) -> None:
    """Equal, as a share of the largest that occurs or of `scale`."""
    scale = np.max(np.abs(expected)) if scale is None else scale
    assert np.max(np.abs(found - expected) / scale) < tolerance


def loudness(result: Prediction) -> float:
    """The largest pressure there would be if nothing cancelled: what rounding leaves is a share of this."""
    each = [*result.drivers.values(), *result.openings.values()]
    return float(np.max(sum(np.abs(one.pressure) for one in each)))


def heat(result: Prediction) -> float:
    """The most that a part or driver takes, W."""
    powers = [np.max(np.abs(one.volts * one.current)) for one in (*result.parts.values(), *result.drivers.values())]
    return float(max(powers))


def same(a: Prediction, b: Prediction, tolerance: float = ROUNDING) -> None:
    """All that both of them have."""
    close(b.impedance, a.impedance, np.abs(a.impedance), tolerance)
    close(b.pressure, a.pressure, loudness(a), tolerance)
    for name in a.drivers:
        close(b.drivers[name].current, a.drivers[name].current, tolerance=tolerance)
        close(b.drivers[name].excursion, a.drivers[name].excursion, tolerance=tolerance)
    for name in a.parts.keys() & b.parts.keys():
        close(b.parts[name].volts, a.parts[name].volts, a.volts, tolerance)
        close(b.parts[name].watts, a.parts[name].watts, heat(a), tolerance)


def source_resistance(draft: Draft) -> float:
    amplifier = draft.tree["amplifier"]
    return si(amplifier["output_resistance"]) + si(amplifier["cable"])


def at_one_point(draft: Draft) -> Draft:
    """In a wall without a cabinet, where all that sounds is one point."""

    def bare(tree: Tree) -> None:
        box = tree["cabinets"]["box"]
        for key in ("baffle", "cutouts"):
            box.pop(key, None)
        for chamber in box.get("chambers", []):
            for opening in (*chamber.get("ports", []), *chamber.get("radiators", []), chamber.get("mouth", {})):
                opening.pop("cutout", None)

    return draft.changed(bare)


def part_names(draft: Draft, *keys: str) -> list[str]:
    """The places whose part is one of these kinds."""
    return [name for name, part in draft.parts.items() if any(key in part for key in keys)]


def si(amount: Amount) -> float:
    """The few units these drafts use for what laws reckon with."""
    return float(amount.number) * {"ohm": 1.0, "mH": 1e-3, "uF": 1e-6, "Mohm": 1e6, "mm": 1e-3, "m": 1.0}[amount.unit]
