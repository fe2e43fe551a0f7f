"""Reading a kit file: `load_kit` gives the validated kit, or every fault of the file."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from system import kitmodel as edge
from system.context import Context
from system.document import DocumentError, MapAt, Report, TextAt, parse, read_text
from system.edge import record
from system.findings import KitError
from system.kit import Kit
from system.rawkit import apply_setting, inherit, located
from system.resolve import resolve


def load_kit(path: str | Path, settings: Iterable[str] = ()) -> Kit:
    """The kit in the YAML file `path`, with every `path=value` of `settings` (--set) put in before validation.

    Raises KitError with all findings of the file and of the tables it names, in the order of file, line and column.
    """
    report = Report(str(path))
    kit = read_kit(Context(report, Path(path)), settings)
    if kit is None:
        name = report.root.get("kit")
        raise KitError(report.sorted(), str(name) if isinstance(name, TextAt) else "")
    return kit


def read_kit(
    context: Context, settings: Iterable[str] = (), put: Callable[[MapAt], None] = lambda _: None
) -> Kit | None:
    """The kit in the file of `context`, whose report gets all there is to say; None where it is at fault.

    `put` may change its tree once every `like:` has been written out. Raises KitError where there is no tree.
    """
    report = context.report
    root = _written(context.kit_file, report, settings)
    inherit(root, report)
    put(root)
    whole = located(root, ())
    assert isinstance(whole, MapAt)
    report.root = whole
    try:
        with _interrupted_afterwards():
            model = _reader().validate_python(whole, context=report)
    except ValidationError as error:
        record(error, whole, report)
        return None
    return resolve(model, context)


@cache
def _reader() -> TypeAdapter[edge.KitFile]:
    return TypeAdapter(edge.KitFile)


@contextmanager
def _interrupted_afterwards() -> Iterator[None]:
    """Hold an interrupt back for a moment: the compiled part of pydantic 2.10 makes a fault of its own of one."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows has none
        yield
        return
    held = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, held)


def kit_as_written(path: str | Path, settings: Iterable[str] = ()) -> MapAt:
    """The tree of a kit file before anything is made of it, with `settings` put in. Raises KitError."""
    report = Report(str(path))
    root = _written(Path(path), report, settings)
    if report.faulty:
        raise KitError(report.sorted())
    return root


def _written(file: Path, report: Report, settings: Iterable[str]) -> MapAt:
    root = _document(file, report)
    for setting in settings:
        try:
            apply_setting(root, setting)
        except DocumentError as error:
            _add(report, error)
    return root


def _document(file: Path, report: Report) -> MapAt:
    try:
        root, faults = parse(read_text(file, report.file), report.file)
    except DocumentError as error:
        _add(report, error)
        raise KitError(report.findings) from None
    for fault in faults:
        _add(report, fault)
    return root


def _add(report: Report, error: DocumentError) -> None:
    path = tuple(error.path.split(".")) if error.path else ()
    report.error(error.code, path, error.found, error.allowed, mark=error.mark)
