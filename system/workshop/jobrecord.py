"""The record of one job: which cabinets, how they came, what was done, how they left, and who says so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields


@dataclass(frozen=True, slots=True)
class JobRecord:
    """What is known of a job before it is printed; an empty field is printed as a line to write on.

    `serials` are the cabinets' numbers. Raises ValueError for text that does not fit on a form: a line break, or more
    than `LONGEST` characters in a field.
    """

    number: str = ""
    owner: str = ""
    date: str = ""
    serials: tuple[str, ...] = ()
    as_found: str = ""
    repairs: str = ""
    as_left: str = ""
    signature: str = ""

    @property
    def fields(self) -> tuple[tuple[str, str], ...]:
        """What each field is called on the form, with what is known of it, empty where nothing is."""
        values = {field: getattr(self, field) for field in FORM}
        return tuple(
            (FORM[field], ", ".join(value) if isinstance(value, tuple) else value) for field, value in values.items()
        )

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            for text in value if isinstance(value, tuple) else (value,):
                if len(text.splitlines()) > 1 or not text.isprintable():
                    raise ValueError(f"{field.name} is to be one line of plain text, not {text!r}")
                if len(text) > LONGEST:
                    raise ValueError(f"{field.name} has {len(text)} characters, at most {LONGEST} fit")


LONGEST = 400
TITLE = "Job record"
# How each field is called on the form.
FORM: Mapping[str, str] = {
    "number": "Job number",
    "owner": "Owner",
    "date": "Date",
    "serials": "Serial numbers",
    "as_found": "As found",
    "repairs": "Repairs, parts replaced",
    "as_left": "As left: readings, sweep, run-up",
    "signature": "Signature, date",
}
