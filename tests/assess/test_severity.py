"""The severity matrix: the tier of a fault by fall, redundancy and severity, and a firm's own cells."""

import pytest

from triage.assess.severity import Grade, load_matrix, shipped_matrix
from triage.domain.tiers import TIERS
from triage.domain.vocabulary import ELEMENTS
from triage.errors import BadInput
from triage.structure import CHECK_IDS

MATRIX = shipped_matrix()
HEIGHTS = (0.0, 2.5, 2.51, 6.0, 6.01, 10.0, 10.01, 22.0)


def test_a_class_ends_at_30_in_at_6_ft_and_at_10_ft():
    names = [MATRIX.fall(height).name for height in HEIGHTS]
    assert names == [
        "to-30-in",
        "to-30-in",
        "to-6-ft",
        "to-6-ft",
        "to-10-ft",
        "to-10-ft",
        "above-10-ft",
        "above-10-ft",
    ]


def test_an_unknown_height_is_the_worst_class():
    assert MATRIX.fall(None) == MATRIX.falls[-1]
    assert MATRIX.height_class(None) == "unknown"


def test_every_element_has_a_redundancy_and_a_joint():
    assert set(MATRIX.redundancy_of) == set(ELEMENTS) == set(MATRIX.joint_of)


@pytest.mark.parametrize("redundancy", MATRIX.tiers)
def test_worse_never_reads_milder(redundancy):
    rows = [[TIERS.index(t) for t in MATRIX.tiers[redundancy][severity]] for severity in MATRIX.severities]
    assert all(row == sorted(row, reverse=True) for row in rows)
    for milder, worse in zip(rows, rows[1:], strict=False):
        assert all(b <= a for a, b in zip(milder, worse, strict=True))


def test_thirty_inches_is_one_step_for_every_fault():
    for rows in MATRIX.tiers.values():
        for row in rows.values():
            assert TIERS.index(row[0]) - TIERS.index(row[1]) in (0, 1)


@pytest.mark.parametrize("check", MATRIX.bands)
def test_a_larger_ratio_is_never_milder_and_no_ratio_is_the_worst(check):
    assert check in CHECK_IDS
    ratios = [1.01, 1.2, 1.3, 1.5, 1.9, 2.0, 2.5, 4.1, 30.0]
    for fall in MATRIX.falls:
        grades = [MATRIX.grade_of_check(check, ratio) for ratio in [*ratios, None]]
        tiers = [TIERS.index(MATRIX.tiers_of(grade)[fall.step]) for grade in grades]
        weights = [MATRIX.weight(grade, fall) for grade in grades]
        assert tiers == sorted(tiers, reverse=True)
        assert weights == sorted(weights)


@pytest.mark.parametrize("check", ["joist-span", "joist-overhang", "beam-span", "post-height"])
def test_twice_the_capacity_is_never_this_season_or_milder(check):
    grade = MATRIX.grade_of_check(check, 2.0)
    assert all(TIERS.index(tier) <= 1 for tier in MATRIX.tiers_of(grade))


@pytest.mark.parametrize(
    ("low", "high", "why"),
    [
        (("wrong", "primary", 2.6), ("distress", "primary", 22.0), "a storey up, distress bars access"),
        (("wrong", "primary", 2.4), ("wrong", "primary", 2.6), "30 in is one step"),
        (
            ("distress", "person", 1.0),
            ("distress", "person", 4.0),
            "a loose guard post matters where one falls",
        ),
    ],
)
def test_higher_and_worse_read_worse(low, high, why):
    def tier(severity, redundancy, height):
        return MATRIX.tiers_of(Grade(severity, redundancy))[MATRIX.fall(height).step]

    assert TIERS.index(tier(*high)) < TIERS.index(tier(*low)), why


def test_a_firm_may_make_cells_of_its_own(tmp_path):
    own = tmp_path / "severity.toml"
    own.write_text(
        '[tiers.primary]\nwrong = ["repair-before-use", "repair-before-use", "stop-use", "stop-use"]\n'
    )
    assert load_matrix(own).tiers_of(Grade("wrong", "primary"))[3] == "stop-use"
    assert load_matrix(tmp_path / "none.toml") == MATRIX


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ('[tiers.primary]\nwrong = ["watch"]\n', "is not a row of 4 tiers"),
        (
            '[tiers.primary]\nwrong = ["stop-use", "watch", "watch", "watch"]\n',
            "a higher deck would read milder",
        ),
        (
            '[tiers.primary]\nearly = ["stop-use", "stop-use", "stop-use", "stop-use"]\n',
            "a worse fault would read milder",
        ),
        ('[tiers.double]\nearly = ["watch", "watch", "watch", "watch"]\n', "'double' is not one of"),
        ('[tiers.primary]\nodd = ["watch", "watch", "watch", "watch"]\n', "'odd' is not one of"),
        ("[fall.high]\nup_to_ft = 3\n", "holds 'fall'"),
        ("tiers = [", "cannot be read"),
    ],
)
def test_a_firms_table_with_a_slip_is_refused(tmp_path, text, why):
    own = tmp_path / "severity.toml"
    own.write_text(text)
    with pytest.raises(BadInput, match=why):
        load_matrix(own)


def test_a_rule_gives_a_severity_or_a_fixed_tier_and_not_both(tmp_path, vocabulary):
    from triage.assess import load_rule_book

    text = (
        '[[rule]]\nid = "own"\nkind = "hazard"\nelement = "ledger"\nconcluded = "Something is seen."\n'
        'why = "Load travels through it to the house."\nrepair = "Mend it by its table."\n'
        'verify_on_site = "Look at it again."\ncall = "contractor"\nsource = "common practice"\n'
        'when = { tag = "ledger-gap", at_least = 3 }\n'
    )
    own = tmp_path / "rules.toml"
    for more in ("", 'tier = "watch"\nseverity = "wrong"\n'):
        own.write_text(text + more)
        with pytest.raises(BadInput, match="either a severity or a fixed tier"):
            load_rule_book(own, vocabulary)
    own.write_text(text + 'severity = "wrong"\n')
    rule = load_rule_book(own, vocabulary).rules["own"]
    assert rule.tiers == MATRIX.tiers_of(Grade("wrong", "primary"))


def test_the_matrix_is_explained_with_its_sources():
    from triage.assess.severity import explained

    text = "\n".join(explained(MATRIX))
    assert all(word in text for word in (*TIERS[:-1], "IRC 2021", "OSHA", "common practice", "to-30-in"))
    assert MATRIX.to_json()["tiers"]["primary"]["wrong"]["to-30-in"] == "repair-this-season"
