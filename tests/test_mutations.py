"""Mutated example kits all the way through: what still loads is predicted and judged without a NaN or a traceback."""

from __future__ import annotations

import json
import random
import warnings
from pathlib import Path

import pytest

from system import grid
from system.checks import examine
from system.examples import scenarios
from system.findings import KitError
from system.kitfile import load_kit
from system.predict import predict
from system.protect import protect
from system.sheets import data, protect_data
from tests.test_kitfile import mutate

MARSHLIGHT = scenarios() / "marshlight"


def _carry_tables(folder: Path) -> None:
    for other in MARSHLIGHT.glob("*.txt"):
        (folder / other.name).write_bytes(other.read_bytes())


def _all_the_way(kit_file: Path) -> str:
    """Load, predict, judge and write as JSON, which refuses NaN and infinity: the words for what came of it."""
    try:
        kit = load_kit(kit_file)
        frequency = grid.logarithmic(points=24)
        results = [predict(kit, variant, frequency) for variant in kit.variants.values()]
        findings = examine(kit, results)
        verdicts = {name: protect(kit, variant) for name, variant in kit.variants.items()}
    except KitError as error:
        faults = [finding for finding in error.findings if finding.severity == "error"]
        return "refused" if faults else "refused without a reason"
    content = {r.variant.name: data.prediction(r) for r in results}
    json.loads(data.document(kit.name, findings, variants=content))
    content = {name: {v.driver: protect_data.verdict(v) for v in each} for name, each in verdicts.items()}
    json.loads(data.document(kit.name, findings, variants=content))
    return "computed"


@pytest.mark.slow
def test_two_hundred_mutations_without_a_nan_or_a_traceback(tmp_path: Path) -> None:
    text = (MARSHLIGHT / "kit.yaml").read_text(encoding="utf-8")
    _carry_tables(tmp_path)
    kit = tmp_path / "kit.yaml"
    outcomes: dict[str, int] = {}
    for seed in range(200):
        kit.write_text(mutate(text, random.Random(seed)), encoding="utf-8")
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            result = _all_the_way(kit)
        outcomes[result] = outcomes.get(result, 0) + 1
    assert set(outcomes) == {"refused", "computed"}
    assert min(outcomes.values()) > 20, outcomes


@pytest.mark.parametrize("seed", range(200, 206))
def test_a_few_mutations(seed: int, tmp_path: Path) -> None:
    _carry_tables(tmp_path)
    kit = tmp_path / "kit.yaml"
    kit.write_text(mutate((MARSHLIGHT / "kit.yaml").read_text(encoding="utf-8"), random.Random(seed)), encoding="utf-8")
    assert _all_the_way(kit) in {"refused", "computed"}
