"""The benchmarks run, their arithmetic is right, and the page is made of them. No test looks at how long it takes."""

from __future__ import annotations

import math
import re
import sys
from datetime import date
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks import commands, diffraction, growth, kits, timing
from benchmarks.__main__ import main
from benchmarks.machine import machine
from benchmarks.page import PAGE, limits_text, page, words_of
from benchmarks.register import NAMES, benchmark
from benchmarks.rows import Row, markdown_table, ratio_text, text_table, time_text
from enclosures import baffle
from filters.network import solve

HOME = Path(__file__).parent.parent
README = (HOME / "benchmarks" / "README.md").read_text(encoding="utf-8")

ROWS = (
    Row("import typer", 0.075, 16.4),
    Row("--help", 0.1, 17.0, "import typer", 4 / 3, 2.0, note="a | b"),
    Row("proofread", 0.3, beside="import typer", ratio=4.0, limit=2.5),
)


# -- arithmetic


@given(
    st.floats(-2, 4),
    st.floats(1e-6, 10),
    st.lists(st.integers(1, 10_000), min_size=2, max_size=6, unique=True),
)
def test_slope_of_a_power_is_its_exponent(power: float, scale: float, sizes: list[int]) -> None:
    assert timing.slope(sizes, [scale * n**power for n in sizes]) == pytest.approx(power, abs=1e-9)


def test_slope_is_that_of_least_squares() -> None:
    """ln y = 0, 1, 1 over ln x = 0, 1, 2: sum (x - 1)(y - 2/3) / sum (x - 1)^2 = 1/2 (normal equations)."""
    e = math.e
    assert timing.slope([1, e, e**2], [1, e, e]) == pytest.approx(0.5)
    with pytest.raises(ValueError, match="two different"):
        timing.slope([3, 3], [1, 2])


def test_times_and_ratios_in_words() -> None:
    assert [time_text(t) for t in (None, 12.345, 1.0, 0.0123, 0.9999, 0.00999, 3.2e-6)] == [
        "", "12.3 s", "1.00 s", "12.3 ms", "1.00 s", "9.99 ms", "3.20 us",
    ]  # fmt: skip
    assert [ratio_text(r) for r in (None, 437.2, 12.0, 1.5, 0.5, 0.125, 1 / 437)] == [
        "", "437", "12.0", "1.50", "0.50", "1/8.00", "1/437",
    ]  # fmt: skip


def test_limits_hold_up_to_themselves() -> None:
    assert [row.held for row in ROWS] == [True, True, False]
    assert Row("x", ratio=2.0, limit=2.0).held
    assert not Row("x", limit=2.0).held  # what was not measured holds nothing


# -- tables


def test_a_text_table_has_the_columns_that_something_stands_in() -> None:
    lines = text_table(ROWS).splitlines()
    assert lines[0].split() == ["time", "MiB", "ratio", "to", "at", "most"]
    assert lines[1].split() == ["import", "typer", "75.0", "ms", "16"]
    assert lines[3] == "    a | b"
    assert lines[4].endswith("2.50, not held")
    ends = [line.index(unit) for line, unit in zip(lines[1:3], ("ms", "ms"), strict=True)]
    assert len(set(ends)) == 1  # numbers are set to the right


def test_a_markdown_table_is_one() -> None:
    lines = markdown_table(ROWS).splitlines()
    cells = [re.split(r"(?<!\\)\|", line)[1:-1] for line in lines]
    assert {len(row) for row in cells} == {7}
    assert [each.strip() for each in cells[0]] == ["", "time", "MiB", "ratio", "to", "at most", "note"]
    assert cells[3][-1].strip() == r"a \| b"
    assert cells[3][0].strip() == "`--help`"  # plain, two hyphens would be set as a dash


def test_the_page_tells_what_was_not_held() -> None:
    said = limits_text(ROWS)
    assert "`--help` is 1.33 times `import typer`; at most 2.00 is asked: held." in said
    assert "`proofread` is 4.00 times `import typer`; at most 2.50 is asked: **not held**." in said
    assert limits_text(ROWS[:1]) == ""


def test_the_page_has_all_that_was_found() -> None:
    words = "<!-- words -->\n\nIt is slow.\n\n<!-- end of words -->\n"
    made = page({"line": ROWS}, {"processor": "a slow one"}, date(2024, 2, 29), words)
    assert words_of(made) == words
    for part in ("2024-02-29", "| processor | a slow one |", "\n## A line, beside openwind\n"):
        assert part in made
    assert markdown_table(ROWS) in made
    assert "matrices where they are exact" in made  # how it was taken


# -- times


def test_the_quickest_run_counts_and_the_first_does_not() -> None:
    done: list[str] = []
    works = {name: (lambda name=name: done.append(name)) for name in "ab"}
    times = timing.quickest(works, 2, lambda: done.append("-"))
    assert done == ["-", "a", "-", "b"] * 3
    assert set(times) == {"a", "b"}


def test_a_process_is_told_by_what_it_used() -> None:
    """The kernel's own account of a child: one that spins for 0.2 s of its own clock has used as much.

    200 MiB of ones are there, and only then, though this process holds more itself at the time, which a child forked
    from it would start with.
    """
    mine = bytearray(b"x") * 2**28
    spins = "import time\nwhile time.process_time() < 0.2: pass"
    small = timing.process([sys.executable, "-S", "-c", spins])
    large = timing.process([sys.executable, "-S", "-c", "b'x' * (200 << 20)"])
    assert len(mine) == 2**28
    assert small.seconds > 0.19  # the kernel's account may be a tick behind
    assert small.mebibytes < 100
    assert 200 < large.mebibytes < 300


def test_a_process_that_fails_says_why() -> None:
    ends = [sys.executable, "-S", "-c", "import sys; print('sorry', file=sys.stderr); sys.exit(3)"]
    with pytest.raises(RuntimeError, match=r"(?s)status 3.*sorry"):
        timing.process(ends)
    assert timing.process(ends, ends=(0, 3)).seconds > 0
    with pytest.raises(RuntimeError, match=r"(?s)status 1.*ZeroDivisionError"):
        timing.process([sys.executable, "-S", "-c", "1 / 0"], ends=(0, 1))


def test_nothing_is_kept_after_forgetting() -> None:
    def kept() -> int:
        every = (each for each in vars(baffle).values() if isinstance(each, type(lru_cache(print))))
        return sum(each.cache_info().currsize for each in every)

    box, sources = diffraction.tower(0.0)
    baffle.free_paths(box, sources[:1], diffraction.directions(1), np.array([300.0]), diffraction.AIR)
    assert kept() > 0
    timing.forget()
    assert kept() == 0


# -- what is measured


def test_places_heard_are_counted(tmp_path: Path) -> None:
    """The example says so in its file: one variant lies in a bench, one stands at a wall, one is another cabinet."""
    assert kits.places_heard(kits.example()) == 3
    assert kits.places_heard(kits.many_drivers(tmp_path, 2)) == 1


def test_a_ladder_of_one_coil_is_a_divider() -> None:
    """U = Z/(Z + R + jwL) at the driver (Ohm)."""
    omega, load = np.array([1000.0, 5000.0]), np.full((2, 1, 1), 8.0 + 0j)
    found = solve(growth.ladder(1), omega, load).load_volts[:, 0]
    np.testing.assert_allclose(found, 8.0 / (8.1 + 1j * omega * 0.47e-3), rtol=1e-12)
    assert len(growth.ladder(64).elements) == 64


QUICK = ("chain", "builds", "large_signal")  # within a second or so; the others start processes or load openwind


@pytest.mark.filterwarnings("ignore:Please import `csr_matrix` from:DeprecationWarning")  # by openwind
@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.slow if n not in QUICK else ()) for n in NAMES])
def test_every_benchmark_runs(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    main([name, "--small"])
    shown = capsys.readouterr().out
    module = benchmark(name)
    assert module.TITLE in shown
    assert "not measured" not in shown
    assert re.search(r"\d (s|ms|us)\b", shown)


def test_the_growth_is_over_enough_sizes_in_factors_of_two() -> None:
    sizes = growth.FULL
    ranges = {"frequencies": (100, 1600), "parts": (8, 64), "sections": (4, 32), "copies": (1000, 16000)}
    for name, ends in (ranges | {"drivers": (1, 8), "directions": (1, 64)}).items():
        every = getattr(sizes, name)
        assert (every[0], every[-1]) == ends
        assert len(every) >= 4
        assert [2 * each for each in every[:-1]] == [*every[1:]]


def test_every_benchmark_is_told_of() -> None:
    files = {path.stem for path in (HOME / "benchmarks").glob("*.py")}
    assert {*NAMES} <= files
    assert re.findall(r"^\| `(\w+)` \|", README, re.MULTILINE) == [*NAMES]
    shown = PAGE.read_text(encoding="utf-8")
    for name in NAMES:
        assert f"\n## {benchmark(name).TITLE}\n" in shown
    assert "\n## What is slow, and why\n" in words_of(shown)
    for name in machine():
        assert f"| {name} | " in shown


def test_the_sweep_that_is_verified_is_there() -> None:
    assert commands.SWEEP.is_file()


@pytest.mark.parametrize("words", [["nothing"], ["line", "-o", "x.md"], ["--small", "-o", "x.md"]])
def test_bad_words_are_refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(words)
    assert left.value.code == 2
    assert "usage: python -m benchmarks" in capsys.readouterr().err
