"""What two kit files say otherwise, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from system.differences import Difference


def differences(found: Sequence[Difference]) -> list[dict[str, Any]]:
    """`differences` of `compare KIT KIT2 --json`: null stands for what a file does not have."""
    return [
        {"path": each.path, "first": each.first, "second": each.second, "contents": each.contents} for each in found
    ]
