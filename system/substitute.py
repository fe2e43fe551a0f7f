"""Reading a kit with one part or one driver of it replaced: the kit reader's own rules judge the substitute.

What is put in carries its own positions, so that a fault of it is told at the option or the file it came from.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from system.context import Context, Path_
from system.document import DocumentError, MapAt, Mark, Report, TextAt, Value, advice, child, legible, parse, read_text
from system.findings import Finding, KitError, usage_error
from system.kit import Kit, PartKind, Variant
from system.kitfile import read_kit
from system.rawkit import merged
from system.resolve_parts import STATES
from system.wording import place as place_text

T = TypeVar("T")

OPTION = "--with"  # stands for the file in faults of what was typed there
YAML = (".yaml", ".yml")
_OF_THE_STATE = {"state", "reason"}  # what a variant may say of a place without giving it another part
_OF_THE_VALUE = {"made_of", "measured"}  # what a new value takes away


@dataclass(frozen=True, slots=True)
class Substituted:
    """The kit with the substitute in it. `untouched`: why a variant asked for is not changed, by its name.

    `told` are the findings that the kit as it is does not have.
    """

    kit: Kit
    untouched: Mapping[str, str]
    told: tuple[Finding, ...]


def place_of(kit: Kit, reference: str) -> PartKind | None:
    """The kind of the part at a reference; None where the board has no such place."""
    for variant in kit.variants.values():
        if reference in variant.places:
            return variant.places[reference].part.kind
    return None


def hookups_of(kit: Kit, reference: str) -> tuple[str, ...]:
    """The hookup names that a driver's name or a hookup name stands for, in file order; none for neither."""
    every = {name: hookup for variant in kit.variants.values() for name, hookup in variant.hookups.items()}
    if reference in kit.drivers:
        return tuple(name for name, hookup in every.items() if hookup.driver.name == reference)
    return (reference,) if reference in every else ()


def unknown(kit: Kit, reference: str) -> KitError:
    """The fault of a reference that is neither a part nor a driver."""
    hookups = [name for variant in kit.variants.values() for name in variant.hookups]
    parts = [name for variant in kit.variants.values() for name in variant.places]
    known = list(dict.fromkeys([*parts, *hookups, *kit.drivers]))
    return usage_error(f"{reference} is no part and no driver of this kit", advice(reference, known))


def substitute_part(
    kit: Kit, settings: Sequence[str], reference: str, text: str, variants: Sequence[Variant], named: bool
) -> Substituted:
    """`kit`, read with `settings`, with the part at `reference` as `text` says: a value, a mapping, link or omit.

    A variant that has its own part there, or none, keeps it unless it was `named`. Raises KitError where the substitute
    does not go, or where no variant would have it.
    """
    kind = place_of(kit, reference)
    if kind is None:
        raise unknown(kit, reference)
    if Path(text).suffix.lower() in YAML:
        raise usage_error(
            f"{OPTION} {text} for {reference}, a part", "a file holds a driver; write a part's value here"
        )
    change = _typed(text)
    state_only = isinstance(change, TextAt) and change in STATES
    untouched: dict[str, str] = {}

    def put(root: MapAt) -> None:
        for variant in variants:
            entry = child(root.get("variants"), variant.name)
            assert isinstance(entry, MapAt)
            own = child(entry.get("parts"), reference)
            here = variant.places[reference]
            if not named and here.state != "fit" and change != "fit":
                untouched[variant.name] = f"has {place_text(here)}"
            elif not named and not state_only and _is_own(own):
                untouched[variant.name] = f"has its own value there ({place_text(here)})"
            else:
                parts = entry.get("parts", MapAt())
                copy = merged(parts, MapAt())  # what came through `like:` belongs to another variant too
                copy.mark = parts.mark
                copy[reference] = _changed(own, change, kind, here.state == "fit")
                copy.key_marks[reference] = change.mark
                entry["parts"] = copy
                entry.key_marks.setdefault("parts", change.mark)

    made, told = _read(kit, settings, put)
    if len(untouched) == len(variants):
        why = "; ".join(f"{name} {words}" for name, words in untouched.items())
        raise usage_error(
            f"{reference} is changed nowhere: {why}", f"--variant {variants[0].name} puts it into that one all the same"
        )
    return Substituted(made, untouched, told)


def _typed(text: str) -> TextAt | MapAt:
    """What was typed, with its positions in the option. Raises KitError."""
    try:
        legible(text, Mark(OPTION, 1, 1))
    except DocumentError as error:
        raise KitError([error.finding()]) from None
    if text.strip()[:1] != "{":
        value = TextAt(text.strip())
        value.mark = Mark(OPTION, 1, 1)
        return value
    hint = "a mapping is written like {coil: 1.2 mH, dc_resistance: 0.5 ohm}"
    fields = _parsed(text, OPTION, hint)
    if not fields:
        raise usage_error(f"{OPTION} {text} names nothing", hint)
    return fields


def _parsed(text: str, shown: str, hint: str) -> MapAt:
    """A mapping out of a YAML text. Raises KitError with all its faults of form."""
    report = Report(shown)
    try:
        root, faults = parse(text, shown)
    except DocumentError as error:
        ours = error.code in ("kit_empty", "wrong_type")  # said of a kit there
        raise KitError([error.finding(hint if ours else None)]) from None
    for fault in faults:
        report.error(fault.code, (fault.path,) if fault.path else (), fault.found, fault.allowed, mark=fault.mark)
    if report.findings:
        raise KitError(report.sorted())
    return root


def _is_own(own: Value | None) -> bool:
    """Whether a variant gives the place another part, and not only another state."""
    if isinstance(own, MapAt):
        return not set(own) <= _OF_THE_STATE
    return isinstance(own, TextAt) and own not in STATES


def _changed(own: Value | None, change: TextAt | MapAt, kind: PartKind, fitted: bool) -> Value:
    """What a variant then says of the place: `change` over its `own`, as the kit file joins the two."""
    if isinstance(change, TextAt) and change in STATES:
        return change
    if isinstance(change, TextAt):
        if not isinstance(own, MapAt):
            return change
        change = _mapping(kind, change)
    before = MapAt()
    if isinstance(own, MapAt):
        before = MapAt({key: value for key, value in own.items() if key != "state"})
        before.key_marks = dict(own.key_marks)
    elif isinstance(own, TextAt) and own not in STATES:
        before = _mapping(kind, own)
    if kind in change:
        for key in _OF_THE_VALUE - set(change):
            before.pop(key, None)
    result = merged(before, change)
    if not fitted and "state" not in result:
        state = TextAt("fit")
        state.mark = result.key_marks["state"] = change.mark
        result["state"] = state
    return result


def _mapping(kind: PartKind, value: TextAt) -> MapAt:
    result = MapAt({kind: value})
    result.mark = result.key_marks[kind] = value.mark
    return result


def substitute_driver(
    kit: Kit, settings: Sequence[str], reference: str, source: str, variants: Sequence[Variant]
) -> Substituted:
    """`kit`, read with `settings`, with another driver at `reference`, a driver's name or a hookup name.

    `source` is another driver of the kit, or a YAML file that holds one driver; the tables that it names lie beside it.
    Raises KitError where the driver does not go there, or where none of `variants` has it.
    """
    hookups = hookups_of(kit, reference)
    if not hookups:
        raise unknown(kit, reference)
    known = source in kit.drivers
    path = Path(source)
    if not known and path.suffix.lower() not in YAML and not os.path.exists(path):
        found = f"{OPTION} {source} is no driver of this kit, and no file"
        raise usage_error(found, advice(source, list(kit.drivers), "its drivers are"))
    name = source if known else reference  # a driver's name is taken over, and a hookup's is free
    mapping = None if known else _driver_file(path)

    def put(root: MapAt) -> None:
        if mapping is not None:
            drivers = root["drivers"]
            drivers[name] = mapping
            drivers.key_marks[name] = mapping.mark
        for hookup in hookups:
            text = TextAt(name)
            text.mark = Mark(OPTION, 1, 1)
            root["crossover"]["hookup"][hookup]["driver"] = text

    if not any({*hookups} & {*variant.hookups} for variant in variants):
        names = ", ".join(variant.name for variant in variants)
        raise usage_error(f"{names} has no {' and no '.join(hookups)}", "name a variant that has it")
    made, told = _read(kit, settings, put, None if known else (("drivers", name), path))
    absent = {
        variant.name: f"has no {' and no '.join(hookups)}"
        for variant in variants
        if not {*hookups} & {*variant.hookups}
    }
    return Substituted(made, absent, tuple(finding for finding in told if finding.code != "unused"))


def _driver_file(path: Path) -> MapAt:
    try:
        text = read_text(path, str(path))
    except DocumentError as error:
        raise KitError([error.finding()]) from None
    return _parsed(text, str(path), "it holds the keys of one driver, as in a kit: re, fs, ...")


@dataclass(slots=True)
class _Beside(Context):
    """A context in which what stands at or under one path names files beside another file than the kit."""

    elsewhere: tuple[Path_, Path] | None = None

    def read_beside(self, path: Path_, name: str, read: Callable[[Path, str], T]) -> T | None:
        there, file = self.elsewhere or ((), self.kit_file)
        return Context(self.report, file if path[: len(there)] == there else self.kit_file).read_beside(
            path, name, read
        )


def _read(
    kit: Kit, settings: Iterable[str], put: Callable[[MapAt], None], elsewhere: tuple[Path_, Path] | None = None
) -> tuple[Kit, tuple[Finding, ...]]:
    """The kit read once more, with `put` done to its tree after every `like:` has been written out; what is new to say.

    Raises KitError with what is new.
    """
    report = Report(str(kit.path))
    made = read_kit(_Beside(report, kit.path, elsewhere=elsewhere), settings, put)
    told = tuple(finding for finding in report.sorted() if finding not in kit.findings)
    if made is None:
        raise KitError(told, kit.name)
    return replace(made, positions=kit.positions), told
