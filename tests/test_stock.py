import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from filters import stock
from filters.stock import SeriesError, best, best_pair, nearest, pairs, series, values


def test_e24_as_the_standard_prints_it():
    # IEC 60063:2015, table 1; the values marked do not follow 10^(i/24) rounded to two figures
    printed = "1.0 1.1 1.2 1.3 1.5 1.6 1.8 2.0 2.2 2.4 2.7 3.0 3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.2 6.8 7.5 8.2 9.1"
    assert series("E24") == tuple(float(v) for v in printed.split())
    differ = {v for i, v in enumerate(series("E24")) if v != round(10 ** (i / 24), 1)}
    assert differ == {2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 8.2}
    assert series("E12") == series("E24")[::2]
    assert series("E6") == (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
    assert series("E3") == (1.0, 2.2, 4.7)


def test_finer_series_follow_rounding_to_three_figures_but_for_one_value():
    # IEC 60063:2015, table 2
    for name, count in (("E48", 48), ("E96", 96), ("E192", 192)):
        rounded = [round(10 ** (i / count), 2) for i in range(count)]
        exceptions = [(r, v) for r, v in zip(rounded, series(name), strict=True) if r != v]
        assert exceptions == ([(9.19, 9.2)] if name == "E192" else [])
    assert set(series("E48")) < set(series("E96")) < set(series("E192"))
    # a few as printed
    assert {1.05, 1.21, 3.83, 9.53} < set(series("E48"))
    assert {1.02, 4.99, 6.04, 9.76} < set(series("E96"))
    assert {1.01, 1.2, 9.88} < set(series("E192"))


def test_values_are_those_a_reader_would_type():
    assert values("E6", 1e-6, 1e-5) == (1e-6, 1.5e-6, 2.2e-6, 3.3e-6, 4.7e-6, 6.8e-6, 1e-5)
    assert values("E3", 9.9, 101) == (10, 22, 47, 100)
    assert values((4.7, 1.0, 2.2, 1.0), 1.0, 4.0) == (1.0, 2.2)


@given(st.sampled_from(["E3", "E6", "E12", "E24", "E48", "E96", "E192"]), st.floats(1e-12, 1e9))
def test_the_nearest_value_is_within_half_a_step(name, target):
    # the widest step of a series of n values a decade that is a rounded geometric series
    found = nearest(target, name)
    steps = [b / a for a, b in itertools.pairwise([*series(name), 10.0])]
    assert abs(math.log(found.value / target)) <= math.log(max(steps)) / 2 + 1e-12
    assert found.error == pytest.approx(found.value / target - 1)
    assert found.members == (found.value,)
    assert found.connection is None


def test_pairs_are_all_of_them():
    have = (1.0, 2.2, 4.7)
    assert list(pairs(have, "values", 3.0, 6.0)) == [(3.2, (1.0, 2.2)), (5.7, (1.0, 4.7)), (4.4, (2.2, 2.2))]
    found = list(pairs(have, "reciprocals", 0.6, 1.0))
    assert [members for _, members in found] == [(1.0, 2.2), (1.0, 4.7)]
    assert found[0][0] == pytest.approx(2.2 / 3.2)


@given(
    st.lists(st.floats(0.1, 100), min_size=1, max_size=8),
    st.floats(0.1, 100),
    st.sampled_from(list(stock.HOW_THEY_ADD)),
    st.sampled_from([1.0, 5.0, 1000.0]),
)
def test_the_best_pair_is_the_best_of_all_pairs(have, target, kind, widest):
    found = best_pair(target, have, *kind, widest=widest)
    adds = stock.HOW_THEY_ADD[kind] == "values"
    errors = [
        abs(math.log((a + b if adds else 1 / (1 / a + 1 / b)) / target))
        for a, b in itertools.combinations_with_replacement(sorted(have), 2)
        if b <= widest * a
    ]
    assert abs(math.log(found.value / target)) == pytest.approx(min(errors), abs=1e-12)
    assert found.connection == kind[1]


@given(st.floats(1e-7, 1e-2), st.sampled_from(list(stock.HOW_THEY_ADD)))
def test_the_best_pair_of_a_series_is_the_best_of_a_long_list(target, kind):
    listed = values("E12", target / 1e3, target * 1e3)
    assert best_pair(target, "E12", *kind) == best_pair(target, listed, *kind)


def test_single_parallel_and_series_for_a_capacitor():
    single, parallel, in_series = best(137e-6, "E12", "capacitor")
    assert single.value == 150e-6
    assert parallel.members == (56e-6, 82e-6)
    assert parallel.error == pytest.approx(138 / 137 - 1)
    assert in_series.value == pytest.approx(1 / (1 / in_series.members[0] + 1 / in_series.members[1]))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: series("E13"), "there is no series E13; there are E3, E6, E12, E24, E48, E96, E192"),
        (lambda: nearest(1.0, ()), "stock: it is empty"),
        (lambda: best_pair(1.0, (), "coil", "series"), "stock: it is empty"),
        (lambda: best_pair(1.0, "E12", "coil", "series", 0.5), "at least 1"),
        (lambda: values("E12", 2.0, 1.0), "a range runs from above zero"),
        (lambda: values("E12", 0.0, 1.0), "a range runs from above zero"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
    assert issubclass(SeriesError, ValueError)
