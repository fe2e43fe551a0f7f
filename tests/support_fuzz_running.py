"""Running one case: in this process with its streams caught and its time watched, or as a process of its own."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn
from unittest.mock import patch

import typer

from tests.support_cli import kitwright
from tests.support_fuzz_cases import Case, lay_out

LONGEST = 10.0  # s of processor time
LONGEST_WAIT = 90.0  # s on the clock, where others use the processor too
MOST_MEMORY = 1 << 30  # bytes
ROOT = Path(__file__).parent.parent
PROGRAM = (sys.executable, "-c", "from system.cli import main; main()")

Listing = Mapping[str, tuple[int, int, int]]  # of each path: mode, size, time


class TimedOut(BaseException):
    """Nothing in the program catches this."""


@dataclass(frozen=True, slots=True)
class Ran:
    """What came of a case in its folder."""

    status: int | None  # None where it was ended by a signal or never came back
    stdout: bytes
    stderr: str
    seconds: float
    memory: int  # bytes at the most
    before: Listing
    after: Listing
    raised: str = ""  # an exception that came through
    killed: str = ""  # the signal that was sent


def listing(folder: Path) -> Listing:
    found = {}
    for above, folders, files in os.walk(folder):
        for name in (*folders, *files):
            path = os.path.join(above, name)
            seen = os.lstat(path)
            is_folder = os.path.isdir(path) and not os.path.islink(path)
            when = 0 if is_folder else seen.st_mtime_ns
            found[os.path.relpath(path, folder)] = (seen.st_mode, 0 if is_folder else seen.st_size, when)
    return found


@contextmanager
def folder_of(case: Case) -> Iterator[Path]:
    """A folder for a case, in which the process stands."""
    back = Path.cwd()
    with tempfile.TemporaryDirectory(prefix="kitwright-fuzz-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        lay_out(case, folder)
        os.chdir(folder)
        try:
            yield folder
        finally:
            os.chdir(back)


def _surroundings(folder: Path) -> dict[str, str]:
    return {
        "HOME": str(folder / "home"),
        "TMPDIR": str(folder / "temporary"),
        "MPLCONFIGDIR": str(_fonts()),  # its list of fonts takes seconds to make, and is not the program's
        "OPENBLAS_NUM_THREADS": "1",
    }


def _fonts() -> Path:
    folder = Path(tempfile.gettempdir()) / "kitwright-fuzz-fonts"
    folder.mkdir(exist_ok=True)
    return folder


_make = typer.main.get_command


@cache
def _made(app: typer.Typer, _commands: int) -> Any:
    return _make(app)


def _command_line(app: typer.Typer) -> Any:
    """As the library makes it, once: with all commands in one process it would take as long as the cases do."""
    return _made(app, len(app.registered_commands))


def in_process(case: Case, folder: Path) -> Ran:
    before = listing(folder)
    _forget_peak()
    status, raised = None, ""
    stdout, stderr = "", ""
    begun = time.process_time()
    with _as_alone(folder), _watched():
        try:
            done = kitwright(*case.words, stdin=case.stdin)
            status, stdout, stderr = done.returncode, done.stdout, done.stderr
        except TimedOut as late:
            raised = f"timed out: {late}"
        except Exception:  # whatever it is, it is told
            raised = traceback.format_exc()
    seconds = time.process_time() - begun
    said = stdout.encode("utf-8", "surrogateescape")
    return Ran(status, said, stderr, seconds, _peak(), before, listing(folder), raised)


@contextmanager
def _as_alone(folder: Path) -> Iterator[None]:
    with patch.dict(os.environ, _surroundings(folder)), patch.object(typer.main, "get_command", _command_line):
        yield


@contextmanager
def _watched() -> Iterator[None]:
    """Too long on the processor or on the clock raises TimedOut where the program stands."""

    def stop(number: int, frame: FrameType | None) -> NoReturn:
        place = f"{frame.f_code.co_filename}:{frame.f_lineno}" if frame else ""
        raise TimedOut(f"{signal.Signals(number).name} at {place}")

    old = [(number, signal.signal(number, stop)) for number in (signal.SIGPROF, signal.SIGALRM)]
    signal.setitimer(signal.ITIMER_PROF, LONGEST, 1.0)
    signal.setitimer(signal.ITIMER_REAL, LONGEST_WAIT, 1.0)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        for number, handler in old:
            signal.signal(number, handler)


def _forget_peak() -> None:
    """The largest size so far is that of now (Linux, proc(5), clear_refs)."""
    Path("/proc/self/clear_refs").write_text("5")


def _peak() -> int:
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM"))


def as_process(case: Case, folder: Path, killed_by: signal.Signals | None = None, when: float = 0.0) -> Ran:
    """`killed_by` is sent after `when` seconds, or with a negative `when` as soon as anything is in `out`."""
    before = listing(folder)
    environment = {**os.environ, **_surroundings(folder), "PYTHONPATH": str(ROOT)}
    begun = _children()
    with (
        (folder.parent / f"{folder.name}.out").open("wb+") as out,
        (folder.parent / f"{folder.name}.err").open("wb+") as err,
    ):
        try:
            process = subprocess.Popen(
                [*PROGRAM, *case.words],
                cwd=folder,
                env=environment,
                stdin=subprocess.PIPE,
                stdout=out,
                stderr=err,
                preexec_fn=_bounded,
            )
            sent = _waited_for(process, case, folder, killed_by, when)
            used = resource.getrusage(resource.RUSAGE_CHILDREN)
            out.seek(0)
            err.seek(0)
            said, told = out.read(), err.read().decode("utf-8", "replace")
        finally:
            os.unlink(out.name)
            os.unlink(err.name)
    status = process.returncode if process.returncode >= 0 else None
    raised = "timed out" if sent == "late" else ""
    ended = sent if sent != "late" else ""
    if status is None and not sent:
        raised = f"ended by signal {-process.returncode}"
    seconds = _children() - begun
    return Ran(status, said, told, seconds, used.ru_maxrss * 1024, before, listing(folder), raised, ended)


def _children() -> float:
    """Processor time in s of all processes that this one has waited for."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _bounded() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (3 * MOST_MEMORY, 3 * MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (int(LONGEST) * 2, int(LONGEST) * 2))
    signal.signal(signal.SIGINT, signal.default_int_handler)


def _waited_for(
    process: subprocess.Popen[bytes], case: Case, folder: Path, killed_by: signal.Signals | None, when: float
) -> str:
    """The name of the signal that was sent, `late` where the process had to be stopped."""
    assert process.stdin is not None
    try:
        process.stdin.write(case.stdin.encode("utf-8", "replace"))
        process.stdin.close()
    except BrokenPipeError:
        pass
    sent = ""
    begun = time.monotonic()
    there = set(os.listdir(folder / "out"))
    while process.poll() is None:
        passed = time.monotonic() - begun
        if (
            killed_by is not None
            and not sent
            and (passed > when >= 0 or (when < 0 and set(os.listdir(folder / "out")) != there))
        ):
            process.send_signal(killed_by)
            sent = killed_by.name
        if passed > LONGEST_WAIT:
            process.kill()
            process.wait()
            return "late"
        time.sleep(0.0005 if killed_by else 0.005)
    return sent
