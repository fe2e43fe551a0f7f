"""`frozen`: a frozen dataclass with slots, made in a fraction of the time.

A kit is seventy kinds of values, all of them made before the first line of a file is read, and `dataclass` compiles an
`__init__`, and methods that compare, hash, show and guard, anew for each. Here every kind shares them. What is seldom
asked for (`fields`, `replace`, `asdict`, a signature, why a call is wrong) comes from the dataclass of the same fields,
which is made when it is. Type checkers take a kind for the frozen dataclass it stands for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, Field, FrozenInstanceError, dataclass, field, is_dataclass, replace
from inspect import Parameter, Signature, get_annotations
from typing import Any, TypeVar, cast, dataclass_transform

__all__ = ["frozen"]

T = TypeVar("T")


def _dataclass_of(kind: Any) -> Any:
    written = kind._written
    if not is_dataclass(written):
        dataclass(init=False, repr=False, eq=False)(written)
        written.__dataclass_params__.frozen = True  # as the kind is: a frozen dataclass may have it as its base
    return written


def _signature(kind: Any) -> Signature:
    taken = []
    for name, each in kind.__dataclass_fields__.items():
        default = kind._defaults.get(name, Parameter.empty)
        default = default.default_factory if isinstance(default, Field) else default
        taken.append(Parameter(name, Parameter.POSITIONAL_OR_KEYWORD, default=default, annotation=each.type))
    return Signature(taken, return_annotation=None)


class _OnDemand:
    """An attribute of a kind that is made when it is asked for."""

    def __init__(self, make: Callable[[Any], Any]) -> None:
        self.make = make

    def __get__(self, one: object, kind: type) -> Any:
        return self.make(kind)


class _Value:
    """What every kind of values shares."""

    __slots__ = ()
    __match_args__: tuple[str, ...] = ()  # the names of the fields
    _defaults: dict[str, Any]  # of the fields that have one: the value, or the `field` that makes it
    __dataclass_fields__ = _OnDemand(lambda kind: _dataclass_of(kind).__dataclass_fields__)
    __dataclass_params__ = _OnDemand(lambda kind: _dataclass_of(kind).__dataclass_params__)
    __signature__ = _OnDemand(_signature)

    def __init__(self, *given: object, **named: object) -> None:
        values = dict(zip(self.__match_args__, given, strict=False)) | named
        wrong = len(values) < len(given) + len(named)  # too many of them, or one twice
        for name in self.__match_args__:
            value = values.pop(name, MISSING)
            if value is MISSING:
                value = self._defaults.get(name, MISSING)
                if isinstance(value, Field):
                    value = cast(Callable[[], object], value.default_factory)()
                wrong |= value is MISSING
            object.__setattr__(self, name, value)
        if wrong or values:
            _signature(type(self)).bind(*given, **named)  # raises, and says what is wrong
        if hasattr(self, "__post_init__"):
            self.__post_init__()

    def __setattr__(self, name: str, found: object) -> None:
        if hasattr(self, name):  # a copy is made by setting each once
            raise FrozenInstanceError(f"cannot assign to field {name!r}")
        object.__setattr__(self, name, found)

    def __delattr__(self, name: str) -> None:
        raise FrozenInstanceError(f"cannot delete field {name!r}")

    def __replace__(self, **changes: object) -> Any:  # what copy.replace calls
        return replace(cast(Any, self), **changes)

    def __eq__(self, other: object) -> bool:
        return _held(self) == _held(other) if type(other) is type(self) else NotImplemented

    def __hash__(self) -> int:
        return hash(_held(self))

    def __repr__(self) -> str:
        shown = ", ".join(f"{name}={getattr(self, name)!r}" for name in self.__match_args__)
        return f"{type(self).__qualname__}({shown})"


def _held(one: Any) -> tuple[object, ...]:
    return tuple(getattr(one, name) for name in one.__match_args__)


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def frozen(cls: type[T]) -> type[T]:
    """The class as a frozen dataclass with slots: equal, hashed and shown by its fields.

    It has no other base, and fields have a value or a factory as their default. Setting a field that is set, or
    deleting one, raises FrozenInstanceError; a call that leaves a field out or knows none of the name, TypeError.
    """
    names = tuple(name for name, kind in get_annotations(cls).items() if "ClassVar" not in str(kind))
    own = {name: value for name, value in vars(cls).items() if name not in (*names, "__dict__", "__weakref__")}
    defaults = {name: vars(cls)[name] for name in names if name in vars(cls)}
    shared = {"__slots__": names, "__match_args__": names, "_defaults": defaults, "_written": cls}
    return cast(type[T], type(cls.__name__, (_Value,), own | shared))
