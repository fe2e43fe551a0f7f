"""Small-signal parameters from any sufficient set, against worked sets and against ranks found another way."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from enclosures.parameters import INDEPENDENT, TRUST, Completed, InsufficientParameters, complete

RHO, C = 1.2041, 343.21
SHEET = {  # all eleven figures of one driver, printed to six digits (worked from the definitions, Small 1972)
    "re": 5.6, "bl": 6.3, "mms": 9.5e-3, "cms": 1.10e-3, "rms": 0.85, "sd": 88e-4,
    "fs": 49.2336, "qms": 3.45738, "qes": 0.414641, "qts": 0.370239, "vas": 12.082e-3,
}  # fmt: skip


def all_eleven(re: float, bl: float, mms: float, cms: float, rms: float, sd: float) -> dict[str, float]:
    """The definitions of Small, J. Audio Eng. Soc. 20(5), 1972, written out once more."""
    w = 1 / math.sqrt(mms * cms)
    qms, qes = w * mms / rms, w * mms * re / bl**2
    return {
        "re": re, "bl": bl, "mms": mms, "cms": cms, "rms": rms, "sd": sd, "fs": w / (2 * math.pi),
        "qms": qms, "qes": qes, "qts": qms * qes / (qms + qes), "vas": RHO * C**2 * sd**2 * cms,
    }  # fmt: skip


def six(completed: Completed) -> dict[str, float]:
    return {name: getattr(completed, name) for name in INDEPENDENT}


def test_the_printed_set_agrees_with_itself() -> None:
    exact = all_eleven(**{name: SHEET[name] for name in INDEPENDENT})
    for name, value in SHEET.items():
        assert value == pytest.approx(exact[name], rel=2e-5), name
    completed = complete(SHEET, RHO, C)
    assert six(completed) == pytest.approx({name: SHEET[name] for name in INDEPENDENT}, rel=5e-5)
    assert all(abs(item.relative) < 5e-5 for item in completed.disagreements)


def test_worked_set_with_the_air_load_added() -> None:
    # a worked example, recomputed from the definitions; 16/3 rho a^3 is the low-frequency air load on both sides of a
    # piston in a wall (Rayleigh); rho 1.2, c 343
    mms = 33.4e-3 + 16 * 1.2 * 0.12**3 / 3
    assert mms == pytest.approx(44.459e-3, abs=0.0005e-3)
    sd = math.pi * 0.12**2
    whole = complete({"fs": 21.973, "qes": 0.33062, "qms": 3.3179, "vas": 340.94e-3, "sd": sd, "re": 7.0}, 1.2, 343.0)
    assert whole.mms == pytest.approx(mms, rel=1e-4)
    assert whole.cms == pytest.approx(1.18e-3, rel=1e-4)
    assert whole.rms == pytest.approx(1.85, rel=1e-4)
    assert whole.bl == pytest.approx(11.4, rel=1e-4)


def test_every_set_of_six_is_taken_or_refused_as_its_rank_says() -> None:
    """462 sets: the rank of the derivatives of the logarithms, by finite differences, decides what is sufficient."""
    base = {name: SHEET[name] for name in INDEPENDENT}
    columns = []
    for name in INDEPENDENT:
        up = all_eleven(**{**base, name: base[name] * 1.001})
        down = all_eleven(**{**base, name: base[name] / 1.001})
        columns.append([(math.log(up[row]) - math.log(down[row])) / (2 * math.log(1.001)) for row in TRUST])
    slopes = np.array(columns).T  # (11, 6)
    exact = all_eleven(**base)
    taken = 0
    for names in itertools.combinations(TRUST, 6):
        rank = np.linalg.matrix_rank(slopes[[TRUST.index(name) for name in names]], tol=1e-4)
        given_set = {name: exact[name] for name in names}
        if rank == 6:
            taken += 1
            completed = complete(given_set, RHO, C)
            assert six(completed) == pytest.approx(base, rel=1e-9), names
            assert completed.disagreements == (), names
        else:
            with pytest.raises(InsufficientParameters) as refusal:
                complete(given_set, RHO, C)
            assert refusal.value.needed == 6 - rank, names
    assert taken > 100


def test_what_is_missing_is_named() -> None:
    with pytest.raises(InsufficientParameters, match=r"work out bl: one more of qes, bl, qts needed") as refusal:
        complete({"re": 5.6, "fs": 50.0, "qms": 3.0, "vas": 12e-3, "sd": 88e-4}, RHO, C)
    assert refusal.value.missing == ("bl",)
    with pytest.raises(InsufficientParameters, match=r"re, bl, mms, cms, rms, sd: 6 more of"):
        complete({}, RHO, C)
    with pytest.raises(InsufficientParameters, match=r"bl, rms: one more of qes, qms, bl, rms needed"):
        complete({"re": 5.6, "fs": 50.0, "qts": 0.3, "vas": 12e-3, "sd": 88e-4}, RHO, C)


def test_each_suggestion_helps() -> None:
    exact = all_eleven(**{name: SHEET[name] for name in INDEPENDENT})
    start = {name: exact[name] for name in ("re", "fs", "sd", "qts")}
    with pytest.raises(InsufficientParameters) as refusal:
        complete(start, RHO, C)
    assert refusal.value.needed == 2
    for name in refusal.value.candidates:
        with pytest.raises(InsufficientParameters) as second:
            complete({**start, name: exact[name]}, RHO, C)
        assert second.value.needed == 1, name


def test_disagreement_is_measured_against_what_is_trusted() -> None:
    exact = all_eleven(**{name: SHEET[name] for name in INDEPENDENT})
    sheet = {**exact, "bl": exact["bl"] * 1.05}
    (item,) = complete(sheet, RHO, C).disagreements
    assert (item.name, item.given) == ("bl", sheet["bl"])
    assert item.derived == pytest.approx(exact["bl"])
    assert item.relative == pytest.approx(0.05)
    preferred = complete(sheet, RHO, C, prefer=("bl",))
    assert preferred.bl == pytest.approx(sheet["bl"])
    assert "bl" not in {item.name for item in preferred.disagreements}
    assert preferred.disagreements  # what was trusted before no longer fits


def test_preferred_qts_decides_the_other_q() -> None:
    sheet = {**SHEET, "qts": 0.36}
    kept = complete(sheet, RHO, C, prefer=("qts",))
    exact = all_eleven(**six(kept))
    assert exact["qts"] == pytest.approx(0.36, rel=1e-9)
    assert exact["qes"] == pytest.approx(SHEET["qes"], rel=1e-9)
    assert any(item.name == "qms" for item in kept.disagreements)


@pytest.mark.parametrize("part", ["qes", "qms"])
def test_qts_must_be_below_its_parts(part: str) -> None:
    with pytest.raises(ValueError, match=rf"qts 0.5 must be below {part} 0.5, because 1/qts = 1/qms \+ 1/qes"):
        complete({"qts": 0.5, part: 0.5, "re": 6.0}, RHO, C)
    with pytest.raises(ValueError, match=r"qts 0\.9 must be below qms"):  # qms here follows from mms, cms and rms
        complete({"qts": 0.9, "mms": 0.01, "cms": 1e-3, "rms": 4.0, "re": 6.0, "sd": 0.01}, RHO, C)


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_values_that_cannot_be(wrong: float) -> None:
    with pytest.raises(ValueError, match="fs must be above zero"):
        complete({"fs": wrong}, RHO, C)


def test_unknown_names() -> None:
    with pytest.raises(ValueError, match="'le' is no small-signal parameter"):
        complete({"le": 1e-3}, RHO, C)
    with pytest.raises(ValueError, match="'bl' is preferred but not given"):
        complete({"re": 5.6}, RHO, C, prefer=("bl",))


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    values=st.fixed_dictionaries(
        {"re": st.floats(2, 20), "bl": st.floats(1, 20), "mms": st.floats(1e-3, 0.2), "cms": st.floats(1e-4, 5e-3),
         "rms": st.floats(0.1, 10), "sd": st.floats(1e-3, 0.1)}
    ),
    names=st.permutations(TRUST),
)  # fmt: skip
def test_a_consistent_sheet_never_disagrees(values: Mapping[str, float], names: list[str]) -> None:
    completed = complete(all_eleven(**values), RHO, C, prefer=names[:3])
    assert completed.disagreements == ()
    assert six(completed) == pytest.approx(dict(values), rel=1e-8)
