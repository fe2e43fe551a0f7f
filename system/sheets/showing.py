"""Where results go: data to standard output or a file, everything else to standard error, pictures to their file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from enclosures.frozen import frozen
from system.findings import Finding, usage_error
from system.output import PICTURES, check_free, check_target, write_file

TEXTS = (".json", ".txt", "")  # endings of -o that ask for no picture


def say(text: str) -> None:
    """A line for a person: standard error, in ASCII where the terminal knows no better.

    What does not print is escaped: a file or a name that is quoted must not steer the terminal.
    """
    encoding = sys.stderr.encoding or "ascii"
    text = "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)
    print(text.encode(encoding, "replace").decode(encoding), file=sys.stderr)


def say_data(text: str) -> None:
    """Data: standard output, always UTF-8; what is none, as in a file's name, as an escape that JSON reads."""
    sys.stdout.buffer.write(text.encode(errors="backslashreplace") + b"\n")
    sys.stdout.flush()


def is_picture(output: Path | None, pictures: Iterable[str] = PICTURES) -> bool:
    """Whether -o asks for a picture or page rather than for text. Raises KitError for a file that is neither."""
    if output is None or output.suffix.lower() in TEXTS:
        return False
    if output.suffix.lower() in pictures:
        return True
    raise usage_error(
        f"-o {output}", f"a picture ends in {', '.join(pictures)}, a text in {', '.join(filter(None, TEXTS))}"
    )


@frozen
class Showing:
    """How a result is to be shown: as a picture, as JSON or as text; on standard output or in the file of -o."""

    kit: Path
    output: Path | None
    as_json: bool
    force: bool
    drawn: bool  # -o asks for a picture

    @classmethod
    def of(
        cls, kit: Path, output: Path | None, as_json: bool, force: bool, pictures: Iterable[str] = PICTURES
    ) -> Showing:
        """Raises KitError for an -o that is neither a picture (by its ending) nor a text, or is there already."""
        drawn = is_picture(output, pictures)
        if output is not None:
            check_target(output, force)
        return cls(kit, output, as_json, force, drawn)

    def show(
        self,
        findings: Iterable[Finding],
        picture: Callable[[Any], Any],
        document: Callable[[], str],
        text: Callable[[], str] | None,
        csv: Path | None = None,
    ) -> None:
        """Each of the last three is called only if it is asked for, `picture` with the module that draws.

        `picture` gives graphs, a figure, or the bytes of the file. `text` is None where another file says it all. Into
        `graphs` in the folder `csv`, if given, go the curves of what is drawn.
        """
        if self.drawn and self.output is not None:
            from system.sheets import graph_data, graphs, plots

            drawn = picture(graphs)
            if isinstance(drawn, bytes):
                write_file(self.output, drawn, self.force)
            else:
                plots.save(drawn, self.output, self.force)
                if csv is not None and isinstance(drawn, list):
                    write_csv(csv / "graphs", graph_data.files(drawn), self.force)
        if self.as_json:
            self._deliver(document())
            return
        tell(findings, self.kit)
        if text is not None and not self.drawn:
            self._deliver(text())

    def _deliver(self, content: str) -> None:
        if self.output is None or self.drawn:  # beside a picture, JSON goes to standard output
            say_data(content)
        else:
            write_file(self.output, f"{content}\n", self.force)


def tell(findings: Iterable[Finding], kit: Path) -> None:
    """Warnings in full, and how many notes there are."""
    findings = tuple(findings)
    notes = sum(finding.severity == "note" for finding in findings)
    for finding in findings:
        if finding.severity != "note":
            say(finding.text())
    if notes:
        say(f"{notes} {'note' if notes == 1 else 'notes'}, listed by: kitwright proofread {kit}")


def write_csv(folder: Path, files: dict[str, str], force: bool) -> None:
    """Files by name into a folder, made if need be. Raises KitError as `write_file` does, before any is written."""
    for name in files:
        check_free(folder / name, force)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise usage_error(f"--csv {folder}: {error.strerror}", "a folder that can be written") from error
    for name, text in files.items():
        write_file(folder / name, text, force)
