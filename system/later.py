"""A module that is loaded when something of it is used, not when it is imported."""

from __future__ import annotations

import sys
from functools import partial
from importlib import import_module
from types import ModuleType
from typing import Any


class Later(ModuleType):
    """Stands in for a module of a package until something of it is used.

    Its `functions` may be imported by name: calling one is use. What else is asked of it loads it too.
    """

    def __init__(self, name: str, *functions: str) -> None:
        super().__init__(name)
        for function in functions:
            setattr(self, function, partial(self._call, function))

    def install(self) -> None:
        """Take the module's place, unless it is loaded already."""
        if self.__name__ not in sys.modules:
            package, _, name = self.__name__.rpartition(".")
            sys.modules[self.__name__] = self
            setattr(sys.modules[package], name, self)

    def __getattr__(self, asked: str) -> Any:
        if asked.startswith("__"):  # which the import system asks of every module
            raise AttributeError(asked)
        return getattr(self._loaded(), asked)

    def _call(self, function: str, *given: Any, **named: Any) -> Any:
        return getattr(self._loaded(), function)(*given, **named)

    def _loaded(self) -> ModuleType:
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]
        return import_module(self.__name__)
