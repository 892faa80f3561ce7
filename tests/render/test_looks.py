"""Places and counts of what a photo shows, counted as a person facing the house counts."""

from typing import Any

from deckscene.layout import layout
from deckscene.looks import add_looks
from deckscene.params import DeckParams, check

PLAN = layout(check(DeckParams("deck-99", 3)))


def record(**changes: Any) -> dict[str, Any]:
    verdict = {"value": "present", "boxes": [], "place": "", "count": None}
    made: dict[str, Any] = {
        "camera": {"width_px": 1024, "height_px": 768, "target_m": [float(PLAN.joist_x[2]), 0.0, 1.0]},
        "features": [
            {"kind": "hanger", "name": "hanger-2", "visible_share": 0.7, "box_px": [0, 0, 60, 90]},
            {"kind": "missing-hanger", "name": "hanger-3", "visible_share": 0.6, "box_px": [90, 0, 150, 80]},
            {"kind": "hanger", "name": "hanger-4", "visible_share": 0.7, "box_px": [200, 0, 220, 30]},
            {"kind": "beam-seat", "name": "post-0", "visible_share": 0.8, "box_px": [0, 0, 9, 9]},
        ],
        "components": [{"component": "post-0", "area_px": 30000}, {"component": "post-2", "area_px": 500}],
        "verdicts": {f"shows-{e}": dict(verdict) for e in ("hanger", "ledger", "post", "brace")},
        "labels": {},
    }
    return made | changes


def test_hangers_in_sight_are_counted_from_the_left() -> None:
    shown = add_looks(record(), PLAN)["verdicts"]["shows-hanger"]
    assert shown["count"] == 2  # the third is too small
    assert shown["place"] == "joists 7 to 8 of 10 from the left, facing the house, house side"


def test_ledger_posts_and_the_corner_of_a_brace() -> None:
    made = add_looks(record(), PLAN)
    assert made["verdicts"]["shows-ledger"]["place"] == "joist 8 of 10 from the left, facing the house"
    assert made["verdicts"]["shows-post"]["place"] == "post 3 of 3 from the left, facing the house"
    assert made["verdicts"]["shows-post"]["count"] == 1
    assert made["labels"]["shows-brace"] == "present"
    assert add_looks(record(features=[]), PLAN)["labels"]["shows-brace"] == "absent"


def test_what_is_not_shown_gets_no_place() -> None:
    made = record()
    made["verdicts"]["shows-hanger"]["value"] = "absent"
    made["verdicts"]["shows-ledger"]["value"] = "absent"
    done = add_looks(made, PLAN)["verdicts"]
    assert done["shows-hanger"]["place"] == done["shows-ledger"]["place"] == ""
