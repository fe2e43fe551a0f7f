"""`frozen` against the frozen dataclass of the standard library, whose ways it promises."""

from __future__ import annotations

import copy
import pickle
from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, replace
from importlib import import_module
from inspect import Parameter, signature

import pytest

from enclosures.frozen import frozen
from tests.test_layers import ALL


@frozen
class Ours:
    """One of each sort of field."""

    volume: float
    name: str = "box"
    parts: tuple[int, ...] = field(default_factory=tuple)


@dataclass(frozen=True, slots=True)
class Theirs:
    """The same."""

    volume: float
    name: str = "box"
    parts: tuple[int, ...] = field(default_factory=tuple)


@pytest.mark.parametrize("given", [(1.0,), (2.0, "line"), (3.0, "port", (1, 2))])
def test_it_is_equal_hashed_shown_and_copied_as_a_dataclass_is(given: tuple) -> None:
    ours, theirs = Ours(*given), Theirs(*given)
    assert repr(ours) == repr(theirs).replace("Theirs", "Ours")
    assert hash(ours) == hash(theirs)
    assert asdict(ours) == asdict(theirs)
    assert [each.name for each in fields(ours)] == [each.name for each in fields(theirs)]
    assert replace(ours, volume=9.0) == ours.__replace__(volume=9.0) == Ours(9.0, *given[1:])
    for same in (copy.copy(ours), copy.deepcopy(ours), pickle.loads(pickle.dumps(ours))):
        assert same == ours
        assert same is not ours
    assert ours != theirs
    assert Ours(1.0) != Ours(1.5)


def test_nothing_of_it_can_be_changed_or_added() -> None:
    one = Ours(1.0)
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'volume'"):
        one.volume = 2.0  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError, match="cannot delete field 'name'"):
        del one.name
    assert not hasattr(one, "__dict__")
    with pytest.raises(AttributeError):
        one.other = 1  # type: ignore[attr-defined]
    assert one == Ours(1.0)


def test_its_signature_is_that_of_the_dataclass() -> None:
    ours, theirs = signature(Ours), signature(Theirs)
    assert list(ours.parameters) == list(theirs.parameters)
    assert ours.return_annotation == theirs.return_annotation
    assert [each.default for each in ours.parameters.values()] == [Parameter.empty, "box", tuple]  # the last makes one
    for one, other in zip(ours.parameters.values(), theirs.parameters.values(), strict=True):
        assert (one.kind, one.annotation) == (other.kind, other.annotation)
        assert (one.default is Parameter.empty) == (other.default is Parameter.empty)


@pytest.mark.parametrize(
    ("given", "named", "says"),
    [
        ((), {}, "missing a required argument: 'volume'"),
        ((), {"name": "box"}, "missing a required argument: 'volume'"),
        ((1.0, "box", (), 2), {}, "too many positional arguments"),
        ((1.0,), {"volume": 2.0}, "multiple values for argument 'volume'"),
        ((1.0,), {"weight": 2.0}, "got an unexpected keyword argument 'weight'"),
    ],
)
def test_a_wrong_call_is_a_type_error_that_says_why(given: tuple, named: dict, says: str) -> None:
    with pytest.raises(TypeError, match=says):
        Ours(*given, **named)
    with pytest.raises(TypeError):
        Theirs(*given, **named)


def test_defaults_are_made_anew_and_checked() -> None:
    @frozen
    class Checked:
        rows: list[int] = field(default_factory=list)

        def __post_init__(self) -> None:
            if len(self.rows) > 1:
                raise ValueError("one row at most")

    first, second = Checked(), Checked()
    assert first.rows == []
    assert first.rows is not second.rows
    with pytest.raises(ValueError, match="one row"):
        Checked([1, 2])


def test_every_kind_there_is_is_a_sound_dataclass() -> None:
    """Which `dataclass` says where a class is written, and we only when its fields are asked for."""
    for name in ALL:
        import_module(name)
    kinds = Ours.__mro__[1].__subclasses__()
    assert len(kinds) > 70
    for kind in kinds:
        assert [each.name for each in fields(kind)] == list(kind.__match_args__), kind


def test_a_default_that_all_would_share_is_found_so() -> None:
    @frozen
    class Shared:
        rows: list[int] = []  # noqa: RUF012

    with pytest.raises(ValueError, match="mutable default"):
        fields(Shared)  # type: ignore[arg-type]


def test_it_may_be_the_base_of_a_frozen_dataclass() -> None:
    @dataclass(frozen=True, slots=True)
    class Larger(Ours):
        height: float = 1.0

    assert Larger(2.0, height=3.0) == Larger(2.0, "box", (), 3.0)
    with pytest.raises(FrozenInstanceError):
        Larger(2.0).height = 1.0  # type: ignore[misc]
