"""Tests run on mutants: what each test touches, recorded once, and a mutant's own tests in a process of its own.

One process loads the libraries and pytest; from it each run is forked, so it starts at once and leaves nothing behind.
The mutant is never written to a file: its module is compiled from changed text when it is imported. All of it happens
in a copy of the tree.

Each test is recorded in a process of its own too, with the tracer of coverage.py, so that no test lives on what another
has cached. A mutant is run with the tests that touched its statement (for a value given to a parameter, its function;
for what is said outside functions, the lines where its name stands) and then others of its module, quickest first, as
many as `BUDGET` seconds hold as recorded. It is killed if one of them fails, if it cannot be imported, if it brings
the process down, or if it uses up `LIMIT` seconds of processor time, and twice what the same tests, collecting them
included, take without it. Time by the clock is never counted, a busy machine kills nothing.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.abc
import importlib.machinery
import importlib.util
import io
import json
import math
import os
import re
import resource
import select
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import Phase, settings

from tests.support_mutation import PACKAGES, Mutant

LIMIT = 20  # s of processor time, for a mutant and its tests
BUDGET = 10.0  # s of its tests without the mutant, as recorded: with the tracer, so really less
_SLOWEST = 6  # s of processor time; a test that takes longer under the tracer is no mutant's
_MEMORY = 4 << 30  # bytes; a wrong size must not take the machine's
_OWN = ("mutation", "support_mutation", "test_mutation")  # of this tool: its tests are not run on mutants
_COPIED = (*PACKAGES, "system", "tests", "scenarios", "docs", "benchmarks")
_COPIED_FILES = ("pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md")
_LIBRARIES = [f"scipy.{part}" for part in ("integrate", "interpolate", "linalg", "ndimage", "optimize", "signal")]
_LIBRARIES += [f"scipy.{part}" for part in ("special", "stats", "sparse.linalg", "spatial")]
_LIBRARIES += ["numpy.typing", "pydantic", "typer", "yaml", "jinja2", "coverage", "hypothesis", "matplotlib.figure"]


@dataclass(frozen=True, slots=True)
class Touch:
    """What a test does without a mutant: seconds of processor time, and the lines it runs in each file."""

    seconds: float
    lines: dict[str, list[int]]


Touches = dict[str, Touch]  # by the test's name


@dataclass(slots=True)
class Outcome:
    """What became of a mutant: the tests it was given, those that failed, and how it ended."""

    how: (
        str  # killed, survived, timeout, died, import (it cannot be loaded), untouched (no test runs it), clock, broken
    )
    given: list[str] = field(default_factory=list)
    killers: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def killed(self) -> bool:
        return self.how in ("killed", "timeout", "died", "import")


@contextlib.contextmanager
def copy_of(root: Path) -> Iterator[Path]:
    """The tree in a temporary folder, gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="mutation-") as folder:
        copy = Path(folder) / "tree"
        copy.mkdir()
        for name in _COPIED:
            shutil.copytree(root / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in _COPIED_FILES:
            shutil.copy(root / name, copy / name)
        yield copy


def load_libraries() -> None:
    """What every run needs, loaded before the first fork; nothing of the project."""
    for name in _LIBRARIES:
        importlib.import_module(name)


def near_tests(root: Path) -> list[str]:
    """The test files that import one of the two packages, themselves or by way of other files of tests."""
    imports = {
        f"tests.{path.stem}": set(re.findall(r"^\s*(?:from|import) ([\w.]+)", path.read_text("utf-8"), re.MULTILINE))
        for path in (root / "tests").glob("*.py")
    }

    def reaches(name: str, behind: tuple[str, ...] = ()) -> bool:
        return any(
            one.split(".")[0] in PACKAGES or (one in imports and one not in behind and reaches(one, (*behind, name)))
            for one in imports[name]
        )

    return sorted(
        name.replace(".", "/") + ".py"
        for name in imports
        if name.startswith("tests.test_") and not name.endswith(_OWN) and reaches(name)
    )


def in_child(work: Callable[[], Any], limit: int, clock: float = 600.0) -> tuple[Any, str]:
    """What `work` returns in a forked process (by JSON), and how that ended: done, timeout or died.

    `limit` is processor time, `clock` a last resort by the clock.
    """
    read, write = os.pipe()
    sys.stdout.flush()
    pid = os.fork()
    if pid == 0:
        os.close(read)
        try:
            signal.signal(signal.SIGXCPU, signal.SIG_DFL)
            resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 1))
            resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
            signal.alarm(int(clock))
            silence = os.open(os.devnull, os.O_WRONLY)
            os.dup2(silence, 1)
            os.dup2(silence, 2)
            said = {"result": work()}
        except BaseException:
            said = {"failed": traceback.format_exc()}
        with os.fdopen(write, "w") as pipe:
            json.dump(said, pipe)
        os._exit(0)
    os.close(write)
    with os.fdopen(read) as pipe:
        said = pipe.read()
    _, status = os.waitpid(pid, 0)
    if os.WIFSIGNALED(status):
        slow = os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL)
        return None, "timeout" if slow else "clock" if os.WTERMSIG(status) == signal.SIGALRM else "died"
    content = json.loads(said)
    if "failed" in content:
        raise RuntimeError(content["failed"])
    return content["result"], "done"


class _Quick:
    """A pytest plugin: hypothesis reports the first counterexample instead of looking for the shortest."""

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self) -> None:
        settings.register_profile("mutation", settings.default, phases=(Phase.explicit, Phase.generate))
        settings.load_profile("mutation")


def _pytest(copy: Path, words: Sequence[str], *plugins: object) -> int:
    """Pytest in this process, on a copy of the tree; what was loaded from elsewhere is not used."""
    os.chdir(copy)
    sys.path.insert(0, str(copy))
    for name, module in list(sys.modules.items()):
        if name.split(".")[0] in _COPIED and str(copy) not in str(getattr(module, "__file__", "")):
            del sys.modules[name]
    options = ["-q", "--tb=no", "--no-header", "-p", "no:cacheprovider", "-p", "no:faulthandler"]
    options += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # libraries are loaded before pytest looks
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
        return int(pytest.main([*options, f"--basetemp={folder}/t", *words], plugins=[_Quick(), *plugins]))


class _Recorder:
    """A pytest plugin: each test runs in a process of its own, under the tracer."""

    def __init__(self, copy: Path) -> None:
        self.copy = copy
        self.touches: dict[str, dict[str, Any]] = {}

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> bool:
        found, how = in_child(lambda: self._run(item), _SLOWEST)
        if how == "done" and found["passed"]:
            self.touches[item.nodeid] = {"seconds": found["seconds"], "lines": found["lines"]}
        return True

    def _run(self, item: pytest.Item) -> dict[str, Any]:
        from _pytest.runner import runtestprotocol  # what plugins that fork each test use; pytest exports none
        from coverage import Coverage

        tracer = Coverage(data_file=None, config_file=False, include=[f"{self.copy / name}/*" for name in PACKAGES])
        tracer.set_option("run:disable_warnings", ["no-data-collected"])
        tracer.start()
        start = time.process_time()
        reports = runtestprotocol(item, log=False, nextitem=None)
        seconds = time.process_time() - start
        tracer.stop()
        data = tracer.get_data()
        lines = {
            str(Path(path).relative_to(self.copy)): sorted(data.lines(path) or ()) for path in data.measured_files()
        }
        passed = all(report.passed for report in reports)
        return {"seconds": seconds, "lines": {path: each for path, each in lines.items() if each}, "passed": passed}


def _digest(copy: Path, test: str) -> str:
    """Changes with the test file, with anything it may run, and with anything it may import."""
    paths = [path for folder in (*PACKAGES, "system") for path in (copy / folder).rglob("*.py")]
    paths += [path for path in (copy / "tests").glob("*.py") if not path.name.startswith(("test_", *_OWN))]
    content = hashlib.sha256()
    for path in [*sorted(paths), copy / test]:
        content.update(path.relative_to(copy).as_posix().encode() + path.read_bytes())
    return content.hexdigest()


def record(copy: Path, tests: Sequence[str], kept: Path, say: Callable[[str], None]) -> Touches:
    """What each test of these files touches; `kept` is a folder with what was recorded before, and is added to.

    Left out: tests marked slow, tests that take too long under the tracer, and tests that fail without a mutant.
    """
    touches: Touches = {}
    kept.mkdir(parents=True, exist_ok=True)
    for test in tests:
        file = kept / f"{Path(test).stem}-{_digest(copy, test)[:16]}.json"
        if not file.exists():
            start = time.perf_counter()

            def run(test: str = test) -> dict[str, Any]:
                recorder = _Recorder(copy)
                _pytest(copy, [test, "-m", "not slow"], recorder)
                return recorder.touches

            found, how = in_child(run, limit=1200, clock=3600)
            if how != "done":
                raise RuntimeError(f"recording {test} {how}")
            file.write_text(json.dumps(found), encoding="utf-8")
            say(f"recorded {test}: {len(found)} tests, {time.perf_counter() - start:.0f} s")
        for name, each in json.loads(file.read_text(encoding="utf-8")).items():
            touches[name] = Touch(**each)
    return touches


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """An importer of one module, from changed text."""

    def __init__(self, copy: Path, mutant: Mutant) -> None:
        self.name = mutant.path.removesuffix(".py").replace("/", ".")
        self.origin, self.source = str(copy / mutant.path), mutant.source
        self.loaded = False

    def find_spec(self, fullname: str, path: Any = None, target: Any = None) -> importlib.machinery.ModuleSpec | None:
        if fullname != self.name:
            return None
        return importlib.util.spec_from_loader(fullname, self, origin=self.origin)

    def exec_module(self, module: ModuleType) -> None:
        self.loaded = True
        module.__file__ = self.origin
        exec(compile(self.source, self.origin, "exec"), module.__dict__)


class _Killers:
    """A pytest plugin: which tests failed."""

    def __init__(self) -> None:
        self.names: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and report.nodeid not in self.names:
            self.names.append(report.nodeid)


class Chooser:
    """Which tests a mutant is given."""

    def __init__(self, copy: Path, touches: Touches) -> None:
        self.touches = touches
        self._by_line: dict[tuple[str, int], set[str]] = {}
        for name, touch in touches.items():
            for path, lines in touch.lines.items():
                for line in lines:
                    self._by_line.setdefault((path, line), set()).add(name)
        self._text = {
            str(path.relative_to(copy)): path.read_text(encoding="utf-8").splitlines()
            for package in PACKAGES
            for path in sorted((copy / package).glob("*.py"))
        }

    def _lines(self, mutant: Mutant) -> Iterator[tuple[str, int]]:
        if mutant.runs is not None:
            yield from ((mutant.path, line) for line in range(mutant.runs[0], mutant.runs[1] + 1))
        elif mutant.names:
            named = re.compile(r"\b(" + "|".join(map(re.escape, mutant.names)) + r")\b")
            for path, text in self._text.items():
                yield from ((path, i) for i, line in enumerate(text, start=1) if named.search(line))

    def touching(self, mutant: Mutant) -> list[str]:
        """The tests that run what the mutant changes, quickest first."""
        names: set[str] = set()
        for place in self._lines(mutant):
            names |= self._by_line.get(place, set())
        return self._quickest(names)

    def _quickest(self, names: Iterable[str]) -> list[str]:
        return sorted(names, key=lambda name: (self.touches[name].seconds, name))

    def __call__(self, mutant: Mutant) -> list[str]:
        """Of the tests `touching` it as many as the budget holds, and one at least; then of those of its module.

        For what runs when the module is imported, or stands outside functions, shows in tests that do not touch it;
        of these the ones that run the fewest other modules come first.
        """
        own = self.touching(mutant)
        others = {name for name, touch in self.touches.items() if mutant.path in touch.lines} - set(own)
        nearest = sorted(self._quickest(others), key=lambda name: len(self.touches[name].lines))
        chosen: list[str] = []
        spent = 0.0
        for name in [*own, *nearest]:
            spent += self.touches[name].seconds
            if chosen and spent > BUDGET:
                break
            chosen.append(name)
        return chosen


def by_file(mutant: Mutant, given: Sequence[str]) -> list[list[str]]:
    """The tests of each file; the file named after the mutant's module first, the others as they come."""
    files: dict[str, list[str]] = {}
    for name in given:
        files.setdefault(name.split("::")[0], []).append(name)
    own = f"tests/test_{Path(mutant.path).name}"
    return [files[file] for file in sorted(files, key=lambda file: file != own)]


def run_mutant(copy: Path, mutant: Mutant, given: list[str], until_one_fails: bool = True) -> Outcome:
    """The mutant's tests, in a process of their own; all of them, or until one fails."""
    if not given:
        return Outcome("untouched")

    def run(spoilt: bool = True) -> dict[str, Any]:
        start = time.process_time()
        changed, killers = _Changed(copy, mutant), _Killers()
        if spoilt:
            sys.meta_path.insert(0, changed)
        status = 0
        for tests in by_file(mutant, given):
            status = _pytest(copy, ["-x", *tests] if until_one_fails else tests, killers) or status
            if status and until_one_fails:
                break
        seconds = time.process_time() - start
        return {"status": status, "killers": killers.names, "loaded": changed.loaded, "seconds": seconds}

    found, how = in_child(run, LIMIT)
    if how == "timeout":  # which may be that of collecting so many tests
        sound, _ = in_child(lambda: run(spoilt=False), 10 * LIMIT)
        found, how = in_child(run, max(LIMIT, math.ceil(2 * sound["seconds"])))
    if how != "done":
        return Outcome(how, given)
    if not found["loaded"] and not found["killers"]:
        raise RuntimeError(f"{mutant.key}: the module was never imported")
    # pytest's own status is 0 where all passed; with no test failed, anything else is a file that could not be imported
    how = "killed" if found["killers"] else "import" if found["status"] else "survived"
    return Outcome(how, given, found["killers"], round(found["seconds"], 2))


def run_all(
    copy: Path, mutants: Sequence[Mutant], touches: Touches, jobs: int, say: Callable[[str], None]
) -> list[Outcome]:
    """Every mutant with its tests, `jobs` at a time."""
    choose = Chooser(copy, touches)
    outcomes: dict[int, Outcome] = {}
    waiting = list(enumerate(mutants))
    running: dict[int, tuple[int, int]] = {}
    while waiting or running:
        while waiting and len(running) < jobs:
            number, mutant = waiting.pop(0)
            read, write = os.pipe()
            pid = os.fork()
            if pid == 0:
                with os.fdopen(write, "w") as pipe:
                    json.dump(asdict(run_mutant(copy, mutant, choose(mutant))), pipe)
                os._exit(0)
            os.close(write)
            running[read] = pid, number
        for read in select.select(list(running), [], [])[0]:
            pid, number = running.pop(read)
            with os.fdopen(read) as pipe:
                said = pipe.read()
            os.waitpid(pid, 0)
            outcomes[number] = Outcome(**json.loads(said)) if said else Outcome("broken")  # the tool's fault, no kill
            by = f" BY {outcomes[number].killers[0]}" if outcomes[number].killers else ""
            say(f"{number + 1}/{len(mutants)} {outcomes[number].how} {mutants[number].key}{by}")
    return [outcomes[i] for i in range(len(mutants))]


def function_of(test: str) -> str:
    """The test function of one of its cases."""
    return test.split("[")[0]


def never_kill(
    copy: Path,
    mutants: Sequence[Mutant],
    outcomes: Sequence[Outcome],
    touches: Touches,
    tries: int,
    say: Callable[[str], None],
) -> dict[str, int]:
    """Test functions that failed on none of the mutants they touch, and how many each was tried on, `tries` at most.

    Those that were a mutant's first killer are out at once; the others are run, up to three quick cases of each, on
    mutants that some test kills.
    """
    choose = Chooser(copy, touches)
    tried = {function_of(name): 0 for name in touches}
    for outcome in outcomes:
        for name in outcome.killers:
            tried.pop(function_of(name), None)
    killed = [mutant for mutant, outcome in zip(mutants, outcomes, strict=True) if outcome.how == "killed"]
    touching = sorted(((mutant, choose.touching(mutant)) for mutant in killed), key=lambda pair: len(pair[1]))
    for mutant, near in touching:  # those that few tests touch first: what all touch leaves the slow ones out
        cases: dict[str, list[str]] = {}
        for name in near:
            if tried.get(function_of(name), tries) < tries:
                cases.setdefault(function_of(name), []).append(name)
        given = [name for each in cases.values() for name in each[:3]]
        given = sorted(given, key=lambda name: touches[name].seconds)
        while sum(touches[name].seconds for name in given) > BUDGET:
            given.pop()
        if not given:
            continue
        seen = run_mutant(copy, mutant, given, until_one_fails=False)
        if seen.how not in ("killed", "survived"):
            continue
        for function in {function_of(name) for name in given}:
            tried[function] += 1
        for name in seen.killers:
            tried.pop(function_of(name), None)
        say(f"{sum(count < tries for count in tried.values())} tests still to see a fault")
    return tried


def by_module(mutants: Sequence[Mutant], outcomes: Sequence[Outcome]) -> Mapping[str, tuple[int, int]]:
    """Of each module: mutants killed, mutants made."""
    counts: dict[str, tuple[int, int]] = {}
    for mutant, outcome in zip(mutants, outcomes, strict=True):
        killed, made = counts.get(mutant.path, (0, 0))
        counts[mutant.path] = killed + outcome.killed, made + 1
    return counts
