"""The audit's statistics against published values; each row names its source.

'memory' marks a value as remembered, with which our own calculation agrees; the others were read in a
public copy. The tolerance is half of the last printed digit unless a row says otherwise.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from ratings import krippendorff_alpha

from triage.audit.agreement import cohen_kappa
from triage.audit.sizes import acceptance_plan, acceptance_probability, sample_size


def agrees(value: float, printed: str) -> bool:
    digits = len(printed.partition(".")[2])
    return math.isclose(value, float(printed), abs_tol=0.5 * 10**-digits + 1e-12)


KAPPA = "Cohen's kappa, worked example of 50 proposals read by two readers (encyclopaedic example)"
KRIPPENDORFF = "Krippendorff, Computing Krippendorff's Alpha-Reliability (2011)"
FLEISS = "Fleiss, Psychological Bulletin 76 (1971) 378-382"
KREJCIE = "Krejcie and Morgan, Educational and Psychological Measurement 30 (1970) 607-610"
MONTGOMERY = "Montgomery, Introduction to Statistical Quality Control"
NIST = "NIST/SEMATECH e-Handbook of Statistical Methods (6.2.3.2)"
KENETT = "Kenett and Zacks, Modern Industrial Statistics"


def test_cohen_kappa() -> None:
    assert agrees(cohen_kappa([[20, 5], [10, 15]]), "0.40")
    assert agrees(cohen_kappa([[45, 15], [25, 15]]), "0.1304")  # the same encyclopaedic page, memory
    assert agrees(cohen_kappa([[25, 35], [5, 35]]), "0.2593")


FOUR_OBSERVERS = """
1 2 3 3 2 1 4 1 2 . . .
1 2 3 3 2 2 4 1 2 5 . 3
. 3 3 3 2 3 4 2 2 5 1 .
1 2 3 3 2 4 4 1 2 5 1 .
"""
"""Reliability data of the part 'any number of observers, missing data'; the twelfth unit has one value."""


def _ratings(text: str) -> np.ndarray:
    return np.array(
        [[math.nan if v == "." else float(v) for v in row.split()] for row in text.split("\n") if row]
    )


@pytest.mark.parametrize(
    ("level", "printed"),
    [("nominal", "0.743"), ("ordinal", "0.815"), ("interval", "0.849"), ("ratio", "0.797")],
)
def test_krippendorff_alpha_of_four_observers(level: str, printed: str) -> None:
    assert agrees(krippendorff_alpha(_ratings(FOUR_OBSERVERS), level), printed), KRIPPENDORFF


def test_krippendorff_alpha_of_two_observers() -> None:
    """Krippendorff (2011), parts A (binary) and B (nominal), from memory; the calculation agrees."""
    binary = _ratings("0 1 0 0 0 0 0 0 1 0\n1 1 1 0 0 1 0 0 0 0")
    assert agrees(krippendorff_alpha(binary), "0.095")
    said = ["aabbdcccedda", "babbbccceddd"]
    nominal = np.array([[float(ord(letter)) for letter in row] for row in said])
    assert agrees(krippendorff_alpha(nominal), "0.692")


FLEISS_COUNTS = [
    [0, 0, 0, 0, 14],
    [0, 2, 6, 4, 2],
    [0, 0, 3, 5, 6],
    [0, 3, 9, 2, 0],
    [2, 2, 8, 1, 1],
    [7, 7, 0, 0, 0],
    [3, 2, 6, 3, 0],
    [2, 5, 3, 2, 2],
    [6, 5, 2, 1, 0],
    [0, 2, 2, 3, 7],
]


def test_alpha_of_many_people_matches_fleiss_kappa() -> None:
    """With m values on each of N units, 1 - kappa = (1 - alpha) Nm / (Nm - 1); Fleiss's example has 0.210."""
    ratings = np.array([np.repeat(np.arange(5.0), row) for row in FLEISS_COUNTS]).T
    alpha = krippendorff_alpha(ratings)
    assert agrees(1 - (1 - alpha) * 140 / 139, "0.210"), FLEISS


def test_sample_size_without_limit() -> None:
    assert sample_size(0.95, 0.05) == 385  # 384.16 (Cochran 1977, section 4.4, with z = 1.96)
    assert sample_size(0.99, 0.05) == 664  # 663.5; memory
    assert sample_size(0.95, 0.03) == 1068  # 1067.1; memory


@pytest.mark.parametrize(
    ("population", "printed"),
    [(10, 10), (20, 19), (50, 44), (100, 80), (200, 132), (500, 217), (1000, 278), (9000, 368)],
)
def test_sample_size_of_krejcie_and_morgan(population: int, printed: int) -> None:
    """Their table rounds to the nearest, which is less than asked for in half of the rows; ours rounds up."""
    size = sample_size(0.95, 0.05, population)
    assert size in (printed, printed + 1), KREJCIE
    exact = 384.1459 / (1 + 383.1459 / population)
    assert size >= exact
    assert round(exact) == printed


@pytest.mark.parametrize(("population", "least"), [(50, 45), (100, 80), (500, 218), (9000, 369)])
def test_at_least_is_rounded_up(population: int, least: int) -> None:
    assert sample_size(0.95, 0.05, population) == least


@pytest.mark.parametrize(
    ("rate", "printed"),
    [
        (0.005, "0.9897"),
        (0.01, "0.9397"),
        (0.02, "0.7366"),
        (0.03, "0.4985"),
        (0.04, "0.3042"),
        (0.05, "0.1721"),
        (0.06, "0.0919"),
        (0.07, "0.0468"),
        (0.08, "0.0230"),
        (0.09, "0.0109"),
    ],
)
def test_operating_characteristic(rate: float, printed: str) -> None:
    """Montgomery, the plan n = 89, c = 2 (table of chapter 15); memory."""
    assert agrees(acceptance_probability(89, 2, rate), printed), MONTGOMERY


def test_operating_characteristic_of_the_nist_plan() -> None:
    """The handbook's plan n = 52, c = 3, memory; two of its entries differ by one in the last digit."""
    printed = [0.998, 0.980, 0.930, 0.845, 0.739, 0.620, 0.502, 0.394, 0.300, 0.223, 0.162, 0.115]
    ours = [acceptance_probability(52, 3, rate / 100) for rate in range(1, 13)]
    assert ours == pytest.approx(printed, abs=0.0011), NIST


@pytest.mark.parametrize(
    ("bad_rate", "sample", "accept"),
    [
        (0.05, 65, 1),
        (0.08, 46, 1),
        (0.11, 36, 1),
        (0.14, 29, 1),
        (0.17, 24, 1),
        (0.20, 20, 1),
        (0.23, 18, 1),
        (0.26, 16, 1),
        (0.29, 14, 1),
        (0.32, 13, 1),
    ],
)
def test_smallest_plan_of_a_lot_of_one_hundred(bad_rate: float, sample: int, accept: int) -> None:
    """Kenett and Zacks, sample sizes for single-stage plans, N = 100, p0 = 0.01, both risks 5 %; memory."""
    plan = acceptance_plan(0.01, bad_rate, 0.05, 0.05, population=100)
    assert (plan.sample, plan.accept) == (sample, accept), KENETT
