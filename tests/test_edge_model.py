"""`system.edge.Model`: what a mapping of the kit file becomes when pydantic reads it."""

from typing import ClassVar

import pytest
from pydantic import TypeAdapter, ValidationError

from system.document import MapAt, Report, parse
from system.edge import Model, Text
from system.fields import Length
from system.rawkit import located


class Board(Model):
    length: Length
    width: Length | None = None


class Named(Board):
    key_of: ClassVar[dict[str, str]] = {"word": "is"}
    word: Text = "board"


def read(text: str) -> tuple[Named, Report]:
    tree, faults = parse(text, "board.yaml")
    assert not faults
    whole = located(tree, ())
    assert isinstance(whole, MapAt)
    report = Report("board.yaml", whole)
    return TypeAdapter(Named).validate_python(whole, context=report), report


def test_keys_are_those_of_its_bases_first_and_need_a_value_where_there_is_no_other() -> None:
    assert list(Named.keys().items()) == [("length", True), ("width", False), ("is", False)]
    assert list(Board.keys()) == ["length", "width"]


def test_it_holds_what_is_written_and_what_stands_for_the_rest() -> None:
    made, report = read("length: 30 cm\nis: shelf\n")
    assert (made.length, made.width, made.word) == (pytest.approx(0.3), None, "shelf")
    assert made.named == {"length", "word"}
    assert made.given() == {"length": pytest.approx(0.3), "word": "shelf"}
    assert not report.findings
    made, _ = read("length: 30 cm\nwidth: 20 mm\n")
    assert made.word == "board"
    assert made.named == {"length", "width"}
    assert made.given("width") == {"length": pytest.approx(0.3), "word": "board"}


def test_it_is_fixed() -> None:
    made, _ = read("length: 30 cm\n")
    with pytest.raises(AttributeError, match=r"Named\.length is fixed"):
        made.length = 2.0  # type: ignore[misc]


def test_a_field_is_known_by_its_key_alone() -> None:
    with pytest.raises(ValidationError):
        read("width: 1 m\nword: shelf\n")
    _, report = read("length: 1 m\nword: shelf\n")
    assert [(each.code, each.line) for each in report.findings] == [("unknown_key", 2)]
