"""A job record as a form to print: what is known, and lines to write the rest on."""

from __future__ import annotations

from system.sheets.tables import WIDTH, wrap
from system.workshop.jobrecord import FORM, JobRecord

TITLE = "Job record"


def job_record(record: JobRecord) -> list[str]:
    """At most 100 columns; short fields beside their name, long ones under it."""
    lines = [TITLE]
    margin = 2 + max(len(words) for words, rows in FORM.values() if rows == 1) + 2
    for (words, rows), (_, text) in zip(FORM.values(), record.fields, strict=True):
        if rows == 1:
            head = f"  {words}:".ljust(margin)
            lines += wrap(text, " " * margin, head) if text else [head + _rule(margin)]
        else:
            lines += ["", f"  {words}:"]
            lines += wrap(text, "    ") if text else [f"    {_rule(4)}"] * rows
    return lines


def _rule(margin: int) -> str:
    return "_" * (WIDTH - margin)
