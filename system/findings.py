"""What the program has to say about an input: one `Finding` a fault, and the exception that carries them all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any, Literal

from enclosures.frozen import frozen

COMMAND_LINE = "kitwright"  # stands for the file in faults of the command line
Severity = Literal["error", "warning", "note"]


@frozen
class Finding:
    """One fault, doubt or assumption, and where in which file it stands: line and column from 1."""

    severity: Severity
    code: str
    file: str
    line: int
    column: int
    path: str  # dotted keys, "variants.centre.parts.C1"
    found: str
    allowed: str
    message: str = ""

    def text(self) -> str:
        """The line a person reads: file:line:column: severity[code]: what was found; what is allowed."""
        where = f"{self.file}:{self.line}:{self.column}: "
        allowed = f"; {self.allowed}" if self.allowed else ""
        return f"{where}{self.severity}[{self.code}]: {self.message or self.found}{allowed}"

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)


class KitError(ValueError):
    """The input has faults; `findings` lists every one."""

    def __init__(self, findings: Iterable[Finding], kit: str = "") -> None:
        self.findings = tuple(findings)
        self.kit = kit
        super().__init__("\n".join(finding.text() for finding in self.findings))


def usage_error(found: str, allowed: str) -> KitError:
    """A fault of the command line rather than of a file."""
    return KitError([Finding("error", "usage", COMMAND_LINE, 1, 1, "", found, allowed)])
