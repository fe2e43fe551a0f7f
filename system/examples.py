"""Where the example kits and the templates lie: beside the packages in a checkout, inside `system` in a wheel."""

from __future__ import annotations

from pathlib import Path

HERE = Path(__file__).parent


def scenarios() -> Path:
    """The folder of the example kits."""
    beside = HERE.parent / "scenarios"
    return beside if beside.is_dir() else HERE / "scenarios"


def template(name: str) -> str:
    """The text of a kit file to begin with, `start` or `smallest`."""
    return (HERE / "templates" / f"{name}.yaml").read_text(encoding="utf-8")
