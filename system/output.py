"""Writing files: beside the target and renamed, never half, never over an existing file unless told to."""

from __future__ import annotations

import os
from pathlib import Path

from system.findings import KitError, usage_error

PICTURES = {".svg": "svg", ".png": "png", ".pdf": "pdf"}  # by a file's ending


def check_free(path: Path, force: bool = False) -> None:
    """Raises KitError where `write_file` would refuse `path` for what is there already."""
    if os.path.lexists(path) and not force:
        raise usage_error(f"{path} is there already", "give another name, or --force to replace it")
    if os.path.exists(path) and not os.path.isfile(path):
        raise usage_error(f"{path} is no plain file", "a folder, a pipe or a device is not replaced")


def check_target(path: Path, force: bool = False) -> None:
    """As `check_free`, with whatever else can be refused before anything is computed or written."""
    check_free(path, force)
    try:
        os.lstat(_beside(path))
    except OSError as error:
        if not isinstance(error, FileNotFoundError) or not os.path.isdir(path.parent):
            raise _cannot(path, error) from error


def _beside(path: Path) -> Path:
    """A name in the same folder that nothing else has."""
    return path.with_name(f".{path.name}.{os.urandom(8).hex()}")


def _cannot(path: Path, error: OSError) -> KitError:
    return usage_error(f"{path} cannot be written: {error.strerror}", "name a file in a folder that can be written")


def write_file(path: Path, content: str | bytes, force: bool = False) -> None:
    """Write `content` to `path` (text as UTF-8) in one step.

    Raises KitError where the file exists and `force` is not given, or where it cannot be written.
    """
    check_free(path, force)
    data = content.encode(errors="backslashreplace") if isinstance(content, str) else content
    beside = _beside(path)  # known before it is there, so that an interrupt leaves none
    try:
        try:
            with beside.open("xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.replace(beside, path)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise _cannot(path, error) from error
