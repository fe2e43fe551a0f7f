"""Writing files: beside the target and renamed, never half, never over an existing file unless told to."""

from __future__ import annotations

import os
from pathlib import Path

from system.findings import usage_error

PICTURES = {".svg": "svg", ".png": "png", ".pdf": "pdf"}  # by a file's ending


def check_free(path: Path, force: bool = False) -> None:
    """Raises KitError where `write_file` would refuse `path` for what is there already."""
    if os.path.lexists(path) and not force:
        raise usage_error(f"{path} is there already", "give another name, or --force to replace it")
    if os.path.exists(path) and not os.path.isfile(path):
        raise usage_error(f"{path} is no plain file", "a folder, a pipe or a device is not replaced")


def write_file(path: Path, content: str | bytes, force: bool = False) -> None:
    """Write `content` to `path` (text as UTF-8) in one step.

    Raises KitError where the file exists and `force` is not given, or where it cannot be written.
    """
    import tempfile  # which takes its time, and most runs write no file

    check_free(path, force)
    data = content.encode(errors="backslashreplace") if isinstance(content, str) else content
    try:
        descriptor, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        try:
            with os.fdopen(descriptor, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(beside, 0o666 & ~_umask())
            os.replace(beside, path)
        except BaseException:
            os.unlink(beside)
            raise
    except OSError as error:
        raise usage_error(
            f"{path} cannot be written: {error.strerror}", "name a file in a folder that can be written"
        ) from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
