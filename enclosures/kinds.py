"""The register of enclosure kinds: the word a kit file uses, and the class that answers to it.

A new kind is one file in this package and one line here.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from enclosures.acoustics import Enclosure
from enclosures.line import Line
from enclosures.sealed import SealedBox
from enclosures.vented import RadiatorBox, VentedBox

KINDS: Mapping[str, type[Enclosure]] = MappingProxyType(
    {"sealed": SealedBox, "vented": VentedBox, "passive_radiator": RadiatorBox, "line": Line}
)
