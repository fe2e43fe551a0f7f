"""The record of a job: what is known is printed, the rest has lines to write on, and nothing leaves the page."""

from __future__ import annotations

import pytest

from system.sheets.job_texts import job_record
from system.workshop.jobrecord import FORM, LONGEST, JobRecord


def test_an_empty_record_is_a_form() -> None:
    lines = job_record(JobRecord())
    assert max(map(len, lines)) <= 100
    assert all(any(f"{words}:" in line for line in lines) for words, _ in FORM.values())
    assert sum("____" in line for line in lines) == sum(rows for _, rows in FORM.values())


def test_what_is_known_is_printed() -> None:
    known = "one woofer silent, " * 12
    record = JobRecord(number="17", serials=("A-1", "A-2"), as_found=known.strip())
    lines = job_record(record)
    assert max(map(len, lines)) <= 100
    text = " ".join(" ".join(lines).split())
    assert "Job number: 17" in text
    assert "Serial numbers: A-1, A-2" in text
    assert known.strip() in text
    assert sum("____" in line for line in lines) == sum(rows for _, rows in FORM.values()) - 1 - 1 - 4


@pytest.mark.parametrize(
    "fields", [{"number": "1\n2"}, {"as_left": "x" * (LONGEST + 1)}, {"serials": ("A", "B\tC")}, {"owner": "\x1b[2J"}]
)
def test_what_does_not_fit_a_form_is_refused(fields: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=next(iter(fields))):
        JobRecord(**fields)  # type: ignore[arg-type]
