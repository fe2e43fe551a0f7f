"""`frozen` against the frozen dataclass of the standard library, whose ways it promises."""

from __future__ import annotations

import copy
import pickle
from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, replace

import pytest

from enclosures.frozen import frozen


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
    assert replace(ours, volume=9.0) == Ours(9.0, *given[1:])
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
    with pytest.raises(AttributeError):
        one.other = 1  # type: ignore[attr-defined]
    assert one == Ours(1.0)


def test_it_may_be_the_base_of_a_frozen_dataclass() -> None:
    @dataclass(frozen=True, slots=True)
    class Larger(Ours):
        height: float = 1.0

    assert Larger(2.0, height=3.0) == Larger(2.0, "box", (), 3.0)
    with pytest.raises(FrozenInstanceError):
        Larger(2.0).height = 1.0  # type: ignore[misc]
