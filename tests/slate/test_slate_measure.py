"""Lengths beside a card: measured truth on made views, and what is refused with which words."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulated import slate_views as sv
from tests.simulated.slate_measured import measure_view, summary
from triage.errors import BadInput, WrongUsage
from triage.slate.card import Card
from triage.slate.facts import keep_length
from triage.slate.lengths import Length
from triage.slate.measure import CannotMeasure, Measurable, lengths, measurable

CARD = Card("3fa9c1d2", "D-17", "2026-05-04")
THREE_MEGAPIXELS = (2016, 1512)


@pytest.fixture(autouse=True)
def _small_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three megapixels: quicker, and harder than a phone's twelve."""
    monkeypatch.setattr(sv, "SENSOR", THREE_MEGAPIXELS)


def view_of(
    card: Card = CARD, distance_mm: float = 900.0, oblique_deg: float = 25.0, seed: int = 1
) -> sv.View:
    rng = np.random.default_rng(seed)
    camera = sv.draw_camera(rng, distance_mm, np.radians(oblique_deg), np.array([150.0, 20.0]))
    return sv.View(card.layout, card.check, card.text, camera, seed=seed)


def photo_of(view: sv.View, wood: np.ndarray) -> np.ndarray:
    return sv.render_whole(view, sv.card_texture(view.layout, view.check, view.text), wood)


def fractions(view: sv.View, *plane_mm: tuple[float, float]) -> list[tuple[float, float]]:
    pixels = view.camera.project(np.array([[x, y, 0.0] for x, y in plane_mm]))
    return [(float(x), float(y)) for x, y in (pixels + 0.5) / np.array(sv.SENSOR)]


def look(view: sv.View, wood: np.ndarray, **settings: float) -> Measurable:
    return measurable(photo_of(view, wood), view.exif_focal_mm, **settings)


def test_lengths_beside_the_card_are_right_and_so_are_their_intervals(wood: np.ndarray) -> None:
    told = summary([measure_view(seed, "letter", wood) for seed in range(500, 600)])
    assert told["lengths"] > 180
    assert told["median_error"] < 0.01
    assert told["p95_error"] < 0.03
    assert 0.91 <= told["coverage"] <= 0.985  # 93 to 97 % within what so few views can tell


def test_a_bent_card_tells_its_bend_and_lengths_stay_right(wood: np.ndarray) -> None:
    view = view_of()
    view.curvature_per_mm = 1 / 1000
    found = look(view, wood)
    assert found.fit.bend_per_m == pytest.approx(1.0, abs=0.1)
    assert "radius about 1.0 m" in " ".join(found.remarks)
    one = lengths(found, fractions(view, (170, 0), (570, 30)))[0]
    assert one.low <= np.hypot(400, 30) / 25.4 <= one.high
    assert one.inches == pytest.approx(np.hypot(400, 30) / 25.4, rel=0.01)


def test_without_a_focal_length_the_interval_is_not_narrower(wood: np.ndarray) -> None:
    view = view_of(distance_mm=1300.0)
    photo = photo_of(view, wood)
    points = fractions(view, (170, 0), (500, 30))
    known, unknown = (lengths(measurable(photo, focal), points)[0] for focal in (26, None))
    assert unknown.relative >= 0.98 * known.relative


def test_farther_from_the_card_is_less_sure(wood: np.ndarray) -> None:
    view = view_of()
    found = look(view, wood)
    near, far = (lengths(found, fractions(view, (x, 0), (x + 150, 0)))[0] for x in (150, 500))
    assert far.relative > near.relative


def test_several_points_make_several_lengths(wood: np.ndarray) -> None:
    view = view_of()
    told = lengths(look(view, wood), fractions(view, (160, 0), (260, 0), (460, 0)))
    assert [one.inches for one in told] == pytest.approx([100 / 25.4, 200 / 25.4], rel=0.01)
    assert told[0].end == told[1].start


@pytest.mark.parametrize("card", [CARD, Card("3fa9c1d2", "D-17", paper="a4")])
def test_a_card_printed_at_94_percent_is_refused_until_the_ruler_is_measured(
    wood: np.ndarray, card: Card
) -> None:
    view = view_of(card)
    view.print_scale, view.sheet = 0.94, (279.4, 215.9)
    with pytest.raises(CannotMeasure, match="printed at 94%, not at full size") as caught:
        look(view, wood)
    assert "--ruler INCHES" in caught.value.hint
    one = lengths(look(view, wood, ruler_in=5.64), fractions(view, (160, 0), (460, 0)))[0]
    assert one.low <= 300 / 25.4 <= one.high


def test_a_ruler_that_cannot_be_is_refused(wood: np.ndarray) -> None:
    with pytest.raises(WrongUsage, match="ruler line of 6 in cannot measure 20 in"):
        look(view_of(), wood, ruler_in=20.0)


def test_full_size_is_seen_by_the_edges_of_the_sheet(wood: np.ndarray) -> None:
    found = look(view_of(), wood)
    assert found.printed is not None
    assert found.printed.scale == pytest.approx(1.0, abs=0.004)
    assert "edges were not seen" not in " ".join(found.remarks)


def test_a_card_that_was_cut_out_is_trusted_but_the_ruler_is_named(wood: np.ndarray) -> None:
    found = look(view_of(Card("3fa9c1d2", "D-17", paper="pocket"), distance_mm=600.0), wood)
    assert found.printed is None
    assert "check the card's ruler line" in " ".join(found.remarks)


def test_a_folded_card_is_not_flat(wood: np.ndarray) -> None:
    view = view_of()
    photo = photo_of(view, wood)
    middle = round(float(view.camera.project(np.zeros((1, 3)))[0, 0])) + 60
    photo[:, middle:] = np.roll(photo[:, middle:], 9, axis=0)
    with pytest.raises(CannotMeasure, match="not flat"):
        measurable(photo, 26)


def test_a_card_seen_from_the_side_is_refused(wood: np.ndarray) -> None:
    with pytest.raises(CannotMeasure, match="too obliquely|squares are seen|too small"):
        look(view_of(oblique_deg=71.0, distance_mm=600.0), wood)


def test_a_card_far_away_is_refused(wood: np.ndarray) -> None:
    with pytest.raises(CannotMeasure, match="squares|too small|No card"):
        look(view_of(distance_mm=6000.0), wood)


@pytest.mark.parametrize("turn_deg", [-25.0, 25.0])
def test_a_card_that_stands_out_of_the_plane_of_the_boards_is_refused(
    wood: np.ndarray, turn_deg: float
) -> None:
    view = view_of(oblique_deg=10.0, distance_mm=1100.0)
    view.tilt_rad = np.radians(turn_deg)
    with pytest.raises(CannotMeasure, match="out of plane"):
        look(view, wood)


def test_points_that_make_no_length_are_refused(wood: np.ndarray) -> None:
    found = look(view_of(oblique_deg=58.0), wood)
    with pytest.raises(WrongUsage, match="needs two points"):
        lengths(found, [(0.5, 0.5)])
    with pytest.raises(WrongUsage, match="is not in the photo"):
        lengths(found, [(0.5, 0.5), (1500.0, 3.0)])
    rim = [(x, y) for x in (0.001, 0.999) for y in (0.001, 0.5, 0.999)]
    reasons = set()
    for point in rim:
        try:
            lengths(found, [(0.5, 0.5), point])
        except CannotMeasure as error:
            reasons.add(str(error))
    assert all("horizon" in said or "ft from the card" in said or "better than" in said for said in reasons)


def _told(*inches: float) -> list[Length]:
    return [Length((0.0, 0.0), (1.0, 1.0), one, one, one) for one in inches]


@pytest.mark.parametrize(
    ("key", "wanted"),
    [
        ("ledger_fastener_spacing_in", "18.00 in"),
        ("ledger_edge_in", "16.00 in"),
        ("stair_rise_spread_in", "2.00 in"),
    ],
)
def test_of_several_lengths_the_harder_one_becomes_the_fact(key: str, wanted: str) -> None:
    assert keep_length(key, _told(16.0, 18.0, 17.0)) == wanted


def test_what_is_no_length_becomes_no_fact() -> None:
    with pytest.raises(WrongUsage, match="joist_count is no length"):
        keep_length("joist_count", _told(16.0))
    with pytest.raises(WrongUsage, match="needs a length"):
        keep_length("ledger_edge_in", [])
    with pytest.raises(BadInput, match="one length does not tell it"):
        keep_length("stair_rise_spread_in", _told(7.0))
