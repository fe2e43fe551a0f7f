"""Results together with what was asked, where a command's JSON says more than the result alone knows.

Each is the value that the command works with, and can be used as one; `system.api` gives these out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, TypeVar

import numpy as np

from system.bench.characterise import Measured, Second
from system.bench.expect import Expected
from system.findings import Finding
from system.kit import Kit, Variant
from system.spread import Spread
from system.swap import Swap, Word, worst_of
from system.swap_advice import Advice
from system.swap_driver import Fitted

T = TypeVar("T")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SpreadOf(Spread):
    """A `Spread` with the `kit` it is of, the `seed` and the `law` by which copies were drawn, and `at_least`.

    `at_least` (0 to 1) is the share of copies that is asked to stay inside; `enough` says whether it does.
    """

    kit: Kit
    seed: int
    law: str
    at_least: float

    @property
    def enough(self) -> bool:
        return self.inside.value >= self.at_least


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ExpectedOf(Expected):
    """An `Expected` with the `kit` it is of, whose meter and input it is read with."""

    kit: Kit


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Characterised(Measured):
    """A `Measured` driver with the `second` sweep that it was told from too, None without one."""

    second: Second | None


@dataclass(frozen=True, slots=True, eq=False)
class SwappedPart:
    """The part at `reference` replaced by `what`: a `Swap` for each variant, and by its name what to do about it.

    `told` are the findings of the kit with the substitute that the kit as it is does not have.
    """

    reference: str
    what: str
    swaps: tuple[Swap, ...]
    advice: Mapping[str, Advice]
    told: tuple[Finding, ...]

    @property
    def result(self) -> Word:
        """The worst of the variants: pass, marginal, fail or cannot_tell."""
        return worst_of([each.judgement.result for each in self.swaps])


@dataclass(frozen=True, slots=True, eq=False)
class SwappedDriver:
    """The driver at `reference` replaced by `what`: a `Swap` for each variant, and what goes with another driver.

    A variant that does not have it comes without a `Fitted`. `told` are the findings of the kit with the substitute
    that the kit as it is does not have.
    """

    reference: str
    what: str
    fits: tuple[tuple[Swap, Fitted | None], ...]
    told: tuple[Finding, ...]

    @property
    def swaps(self) -> tuple[Swap, ...]:
        """The `Swap` of each variant."""
        return tuple(each for each, _ in self.fits)

    @property
    def result(self) -> Word:
        """The worst of the variants: pass, marginal, fail or cannot_tell."""
        return worst_of([each.judgement.result for each in self.swaps])


def widened(kind: type[T], value: Any, **asked: object) -> T:
    """`value` as the larger `kind` that adds what was `asked`."""
    return kind(**{field.name: getattr(value, field.name) for field in fields(value)}, **asked)


def read_only(result: T) -> T:
    """`result`, every array in which cannot be written to from now on; kits hold none."""
    seen: set[int] = set()
    todo: list[Any] = [result]
    while todo:
        value = todo.pop()
        if id(value) in seen or isinstance(value, str | Kit | Variant):
            continue
        seen.add(id(value))
        if isinstance(value, np.ndarray):
            value.setflags(write=False)
        elif isinstance(value, Mapping):
            todo += value.values()
        elif isinstance(value, list | tuple):
            todo += value
        elif is_dataclass(value):
            todo += [getattr(value, field.name) for field in fields(value)]
    return result
