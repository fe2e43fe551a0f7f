"""The record of a job: what is known is printed, the rest has lines to write on, and nothing leaves the page."""

from __future__ import annotations

import pytest

from system.sheets.pages import as_text
from system.sheets.pages.blocks import Fields, Sheet
from system.workshop.jobrecord import FORM, LONGEST, JobRecord


def printed(record: JobRecord) -> list[str]:
    return as_text.text([Sheet("Job", "", (Fields(record.fields),), "")]).splitlines()


def test_an_empty_record_is_a_form() -> None:
    lines = printed(JobRecord())
    assert max(map(len, lines)) <= 100
    assert [next(words for words in FORM.values() if words in line) for line in lines if "____" in line] == [
        *FORM.values()
    ]


def test_what_is_known_is_printed() -> None:
    known = "one woofer silent, " * 12
    record = JobRecord(number="17", serials=("A-1", "A-2"), as_found=known.strip())
    lines = printed(record)
    assert max(map(len, lines)) <= 100
    text = " ".join(" ".join(lines).split())
    assert "Job number 17 " in text
    assert "Serial numbers A-1, A-2 " in text
    assert known.strip() in text
    assert sum("____" in line for line in lines) == len(FORM) - 3


@pytest.mark.parametrize(
    "fields", [{"number": "1\n2"}, {"as_left": "x" * (LONGEST + 1)}, {"serials": ("A", "B\tC")}, {"owner": "\x1b[2J"}]
)
def test_what_does_not_fit_a_form_is_refused(fields: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=next(iter(fields))):
        JobRecord(**fields)  # type: ignore[arg-type]
