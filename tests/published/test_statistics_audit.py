"""The audit's statistics against published values; each row names its source.

`how`: 'read' (in a public copy of the document), 'memory' (as remembered; our own calculation agrees).
The tolerance is half of the last printed digit unless a row says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest

from triage.audit.agreement import cohen_kappa, krippendorff_alpha
from triage.audit.bounds import clopper_pearson, hypergeometric
from triage.audit.sizes import acceptance_plan, acceptance_probability, sample_size, size_to_find_one


@dataclass(frozen=True)
class Ref:
    source: str
    place: str
    given: tuple[float, ...]
    printed: tuple[str, ...]
    how: str = "read"

    def __str__(self) -> str:
        return f"{self.source.split('(')[0].strip()} {self.given}"


def agrees(value: float, printed: str) -> bool:
    digits = len(printed.partition(".")[2])
    return math.isclose(value, float(printed), abs_tol=0.5 * 10**-digits + 1e-12)


KAPPA = "Cohen's kappa, worked example of 50 proposals read by two readers (encyclopaedic example)"
KRIPPENDORFF = "Krippendorff, Computing Krippendorff's Alpha-Reliability (2011)"
FLEISS = "Fleiss, Psychological Bulletin 76 (1971) 378-382"
NEWCOMBE = "Newcombe, Statistics in Medicine 17 (1998) 857-872"
CONOVER = "Conover, Practical Nonparametric Statistics (1999)"
KREJCIE = "Krejcie and Morgan, Educational and Psychological Measurement 30 (1970) 607-610"
SAMPLINGBOOK = "Kauermann and Kuechenhoff, Stichproben (2010)"
CANNON = "Cannon and Roe, Livestock Disease Surveys (1982)"
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


@pytest.mark.parametrize(
    "ref",
    [
        Ref(NEWCOMBE, "table I, method 5", (81, 263), ("0.2527", "0.3676")),
        Ref(NEWCOMBE, "table I, method 5", (15, 148), ("0.0578", "0.1617")),
        Ref(NEWCOMBE, "table I, method 5", (0, 20), ("0.0000", "0.1684")),
        Ref(NEWCOMBE, "table I, method 5", (1, 29), ("0.0009", "0.1776")),
        Ref(CONOVER, "table A4, in a teaching page", (5, 25), ("0.068", "0.407")),
        Ref(SAMPLINGBOOK, "page 54", (302, 1206), ("0.226", "0.276")),
        Ref(SAMPLINGBOOK, "page 54", (133, 1206), ("0.0932", "0.1293")),
        Ref("project's list of published values (section 6)", "calc", (0, 10), ("0.0000", "0.3085")),
        Ref("project's list of published values (section 6)", "calc", (1, 10), ("0.0025", "0.4450")),
        Ref("project's list of published values (section 6)", "calc", (4, 20), ("0.0573", "0.4366")),
        Ref("project's list of published values (section 6)", "calc", (5, 10), ("0.1871", "0.8129")),
    ],
    ids=str,
)
def test_clopper_pearson(ref: Ref) -> None:
    low, high = clopper_pearson(int(ref.given[0]), int(ref.given[1]))
    assert agrees(low, ref.printed[0])
    assert agrees(high, ref.printed[1])


@pytest.mark.parametrize(("sample", "printed"), [(30, "0.0950"), (100, "0.0295")])
def test_rule_of_three_exactly(sample: int, printed: str) -> None:
    """None found in n, one-sided 95 %: 1 - 0.05^(1/n); the rule of three says about 3/n."""
    assert agrees(clopper_pearson(0, sample, side="upper")[1], printed)


@pytest.mark.parametrize(
    ("defects", "sample", "population", "printed"),
    [(45, 100, 300, (110, 161)), (2, 100, 300, (2, 19)), (50, 60, 61, (50, 51)), (10, 20, 20, (10, 10))],
)
def test_hypergeometric_bounds(defects: int, sample: int, population: int, printed: tuple[int, int]) -> None:
    """Kauermann and Kuechenhoff (2010), page 53, and the edge cases of the book's R package, tests of Sprop.

    The book prints the first number that is *refused* on either side where there is one; the bounds here
    are the last that is *kept*, so they may be one tighter, never wider.
    """
    bounds = hypergeometric(defects, sample, population)
    assert printed[0] <= bounds.low <= printed[0] + 1
    assert printed[1] - 1 <= bounds.high <= printed[1]


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
    ("confidence", "defects", "population", "printed", "how"),
    [
        (0.99, 16, 1600, 399, "read"),
        (0.95, 1, 100, 96, "memory"),
        (0.95, 5, 100, 45, "memory"),
        (0.95, 10, 100, 25, "memory"),
        (0.95, 10, 1000, 258, "memory"),
        (0.95, 20, 1000, 138, "memory"),
    ],
)
def test_sample_to_find_one(confidence: float, defects: int, population: int, printed: int, how: str) -> None:
    """Cannon and Roe (1982), table 1; their formula is an approximation that here gives the exact sizes."""
    size = size_to_find_one(confidence, defects, population)
    assert abs(size - printed) <= 1, CANNON
    formula = (1 - (1 - confidence) ** (1 / defects)) * (population - (defects - 1) / 2)
    assert abs(size - math.ceil(formula)) <= 1


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
