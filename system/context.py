"""What the steps from the kit file's models to the kit share: the report, the folder, and how alike two figures are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from enclosures.air import Air
from system.document import DocumentError, MapAt, Report, TextAt, advice, child, label, nearest
from system.findings import Severity
from system.tables import TableFaults

Path_ = tuple[str, ...]
T = TypeVar("T")

STANDARD_AIR = Air(1.2041, 343.21)  # dry, 20 degC; stands in where the kit's air is at fault

# Data sheets round: below the first a disagreement is rounding, above the second one figure is wrong.
ROUNDING, WRONG = 0.03, 0.10


@dataclass(slots=True)
class Context:
    """`kit_file` is the kit as the user named it; the files it names lie in its folder."""

    report: Report
    kit_file: Path
    air: Air = STANDARD_AIR
    doubtful: set[Path_] = field(default_factory=set)  # what hangs on a fault already told: say nothing more of it

    def read_beside(self, path: Path_, name: str, read: Callable[[Path, str], T]) -> T | None:
        """`read(file, shown)` of the file that the kit names at `path`; None where that is at fault, and reported."""
        where = f'{label(path)} is "{name}"'
        folder = self.kit_file.parent
        file = folder / name
        try:
            inside = file.resolve().is_relative_to(folder.resolve())
        except (OSError, ValueError, RuntimeError):  # a NUL byte, a loop of links
            inside = False
        if not inside or Path(name).is_absolute():
            allowed = "files named in a kit lie in its own folder"
            self.report.error("file_outside", path, f"{where}, which is outside of the kit's folder", allowed)
            return None
        try:
            return read(file, str(file))
        except DocumentError as error:
            if error.mark.line:
                self.report.error(error.code, path, error.found, error.allowed, mark=error.mark)
            else:
                allowed = self._neighbour(file) if error.code == "file_missing" else error.allowed
                found = "there is no such file in the kit's folder" if error.code == "file_missing" else error.found
                self.report.error(error.code, path, f"{where}, and {found}", allowed)
        except TableFaults as faults:
            for fault in faults.faults:
                self.report.error(fault.code, path, fault.found, fault.allowed, mark=fault.mark)
        return None

    def _neighbour(self, file: Path) -> str:
        try:
            names = sorted(other.name for other in file.parent.iterdir() if other.is_file())[:1000]
        except OSError:
            return ""
        guess = nearest(file.name, names)
        return f"did you mean {guess}?" if guess else ""

    def unknown_name(self, path: Path_, name: str, known: list[str], kind: str, *, key: bool = False) -> None:
        """There is no `kind` (a driver, a hookup name) of this name."""
        where = label(path[:-1]) if key else f'{label(path)} is "{name}"'
        found = f'{where} names "{name}"' if key else where
        self.report.error("unknown_name", path, f"{found}, which is no {kind}", advice(name, known), key=key)

    def missing(self, path: Path_, found: str, allowed: str) -> None:
        """The key at `path` is not there, and no other will do; unless an unknown key beside it was meant for it."""
        if not any(other[:-1] == path[:-1] for other in self.report.misspelt):
            self.report.error("missing_key", path, found, allowed)

    def assumed(self, path: Path_, found: str, allowed: str) -> None:
        self.report.note("assumed", path, found, allowed)

    def has(self, path: Path_) -> bool:
        """Whether the file has something at this path, or a key that was probably meant for it.

        Of an entry whose `like:` failed, anything may have been there.
        """
        if path in self.report.misspelt:
            return True
        node = self.report.root
        for part in path:
            inner = child(node, part)
            if inner is None:
                return isinstance(node, MapAt) and node.incomplete
            node = inner  # type: ignore[assignment]
        return True

    def text(self, path: Path_) -> str:
        """What was typed at this path."""
        node = self.report.root
        for part in path:
            inner = child(node, part)
            if inner is None:
                return ""
            node = inner  # type: ignore[assignment]
        return " ".join(node.split()) if isinstance(node, TextAt) else ""


def severity_of(relative: float) -> Severity:
    """How grave it is that two figures for one thing differ by this ratio."""
    return "note" if abs(relative) < ROUNDING else "warning" if abs(relative) <= WRONG else "error"


def per_cent(relative: float) -> str:
    """With its sign and one decimal, or two figures where it is small."""
    return f"{100 * relative:+.1f} %" if abs(relative) >= 0.001 else f"{100 * relative:+.2g} %"
