"""What the JSON of the commands has for each kind of result, for those who have the result itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from system.answers import Characterised, ExpectedOf, SpreadOf, SwappedDriver, SwappedPart
from system.around import Around
from system.bench.characterise import Batch
from system.bench.verify import Verified
from system.ceilings import Ceilings
from system.compare import Comparison
from system.predict import Prediction
from system.protect import Verdict
from system.revalue import Front
from system.sheets import (
    around_data,
    characterise_data,
    data,
    expect_data,
    limit_data,
    match_data,
    parts_data,
    protect_data,
    revalue_data,
    spread_data,
    swap_data,
    verify_data,
)
from system.shopping import Shopping
from system.stress import Stress


def _comparison(result: Comparison) -> dict[str, Any]:
    return {**data.comparison(result), "match": match_data.matches(result)}


def _expected(result: ExpectedOf) -> dict[str, Any]:
    return expect_data.expect(result.kit, [result])


def _spread(result: SpreadOf) -> dict[str, Any]:
    return spread_data.spread(result.kit, [result], result.seed, result.law, result.at_least)


def _characterised(result: Characterised) -> dict[str, Any]:
    return characterise_data.single(result, result.second)


def _part(result: SwappedPart) -> dict[str, Any]:
    content = swap_data.part(result.reference, result.swaps, result.advice)
    return {"ref": result.reference, "with": result.what, **content}


def _driver(result: SwappedDriver) -> dict[str, Any]:
    return {"ref": result.reference, "with": result.what, **swap_data.driver(result.fits)}


PLAIN: Mapping[type, Callable[[Any], dict[str, Any]]] = {
    Prediction: data.prediction,
    Around: around_data.around,
    Ceilings: limit_data.limits,
    Verdict: protect_data.verdict,
    Stress: limit_data.stress,
    Shopping: parts_data.parts,
    SwappedPart: _part,
    SwappedDriver: _driver,
    Front: revalue_data.revalue,
    SpreadOf: _spread,
    ExpectedOf: _expected,
    Verified: verify_data.verified,
    Characterised: _characterised,
    Batch: characterise_data.several,
    Comparison: _comparison,
}


def plain(result: object) -> dict[str, Any]:
    """A result as plain data; the verdicts of one variant by their drivers. Raises TypeError for anything else."""
    if isinstance(result, tuple) and all(isinstance(each, Verdict) for each in result):
        return {verdict.driver: protect_data.verdict(verdict) for verdict in result}
    if type(result) not in PLAIN:
        raise TypeError(f"{type(result).__name__} is no result of system.api")
    return PLAIN[type(result)](result)
