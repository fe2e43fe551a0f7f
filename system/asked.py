"""What the edges are asked for, checked and made into what the rest works with. Raises KitError."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from system.findings import Finding, KitError, usage_error

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from system.kit import Kit, Variant

    Floats = NDArray[np.float64]
    Frequencies = Sequence[float] | Floats

T = TypeVar("T")


def variant(kit: Kit, which: str | Variant) -> Variant:
    """The variant of that name, or the one given."""
    from system.document import advice

    if not isinstance(which, str):
        return which
    if which not in kit.variants:
        raise usage_error(f"{kit.name} has no variant {which}", advice(which, list(kit.variants), "its variants are"))
    return kit.variants[which]


def variants(kit: Kit, which: Iterable[str | Variant] | None) -> list[Variant]:
    """In the order of the file and each once, as the commands have them; all where nothing is said."""
    if which is None:
        return list(kit.variants.values())
    if isinstance(which, str):
        raise usage_error(f"variants={which!r}", f"a list of names, like [{which!r}]")
    named = {found.name: found for found in (variant(kit, each) for each in which)}
    if not named:
        raise usage_error("no variants", f"some of {', '.join(kit.variants)}")
    return [named[name] for name in (*kit.variants, *(named.keys() - kit.variants.keys())) if name in named]


def frequencies(listed: Frequencies | None) -> Floats:
    """Frequencies (F,) in Hz, the program's own where nothing is said."""
    import numpy as np

    from system import grid

    if listed is None:
        return grid.logarithmic()
    found = np.array(listed, dtype=float)  # a copy: that of the result cannot be written to
    if found.ndim != 1 or not 1 <= found.size <= grid.MOST_POINTS:
        raise usage_error(f"frequencies of shape {found.shape}", f"a list of 1 to {grid.MOST_POINTS}, in Hz")
    if not (np.all(found >= grid.LOWEST) and np.all(found <= grid.HIGHEST) and np.all(np.diff(found) > 0)):
        raise usage_error(
            f"frequencies from {found[0]:g} to {found[-1]:g} Hz",
            f"rising frequencies in Hz, each once, {grid.LOWEST:g} to {grid.HIGHEST:g}",
        )
    return found


def volts(value: float) -> float:
    """V rms at the amplifier's output."""
    within("volts", value, 1e-6, 1000.0, "V rms")
    return float(value)


def seed(value: int) -> int:
    if value < 0:
        raise usage_error(f"seed {value}", "0 or more")
    return value


def within(name: str, value: float | None, low: float, high: float, unit: str) -> None:
    """Whether a value that was given is inside its range; not a number never is."""
    if value is not None and not low <= value <= high:
        raise usage_error(f"{name} {value:g}", f"{low:g} to {high:g} {unit}")


def read(source: str | Path | T | None, how: Callable[[Path], T], faults: list[Finding]) -> T | None:
    """What is in a file, or what has been read already; what is wrong with the file goes to `faults`."""
    if not isinstance(source, str | Path):
        return source
    try:
        return how(Path(source))
    except KitError as error:
        faults.extend(error.findings)
        return None
