"""Random decks for laws that hold for any deck: facts near the edges of the tables, labels, suggestions."""

from dataclasses import dataclass, fields

import deck_builder as made
from hypothesis import strategies as st

from triage.assess import DeckEvidence
from triage.domain.vocabulary import load_vocabulary
from triage.structure.facts import FACT_KEYS

VOCABULARY = load_vocabulary()

NUMBERS = {
    "height_above_grade_ft": (0.5, 1.0, 2.5, 2.51, 4.0, 6.0, 6.1, 9.0, 10.0, 10.1, 14.0, 22.0),
    "live_load_psf": (20.0, 40.0, 41.0, 60.0, 100.0),
    "dead_load_psf": (5.0, 10.0, 10.5, 12.0, 15.0, 30.0),
    "snow_load_psf": (0.0, 30.0, 40.0, 41.0, 50.0, 60.0, 70.0, 71.0, 120.0),
    "joist_span_ft": (4.0, 6.0, 8.0, 9.0, 10.0, 12.0, 14.0, 15.0, 18.0, 18.1, 19.0, 24.0),
    "joist_spacing_in": (12.0, 15.0, 16.0, 19.2, 24.0, 24.1, 26.0, 32.0),
    "joist_overhang_ft": (0.0, 0.5, 1.0, 1.4, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0),
    "joist_end_bearing_in": (0.5, 1.4, 1.5, 3.0),
    "ledger_fastener_spacing_in": (5.0, 9.0, 12.0, 15.0, 16.0, 18.0, 24.0, 30.0, 32.0, 40.0, 80.0),
    "ledger_edge_in": (0.5, 1.9, 2.0, 3.0, 5.0, 6.0),
    "ledger_end_in": (0.5, 2.0, 4.0),
    "ledger_row_spacing_in": (1.0, 1.625, 3.0, 4.5, 5.0, 5.1, 6.0),
    "ledger_sheathing_in": (0.0, 0.25, 0.5, 0.6, 0.75, 1.0, 1.1, 2.0),
    "ledger_stacked_washers_in": (0.0, 0.25, 0.5, 0.6),
    "ledger_gap_in": (0.0, 0.25, 0.5, 1.0, 1.1, 2.0),
    "ledger_length_ft": (5.0, 14.0, 30.0),
    "beam_span_ft": (4.0, 6.0, 7.0, 8.0, 10.0, 14.0, 20.0),
    "post_height_ft": (1.0, 2.0, 2.1, 4.0, 6.0, 6.1, 7.0, 8.0, 8.1, 10.0, 13.0, 14.0, 16.0),
    "tributary_area_sqft": (15.0, 40.0, 60.0, 61.0, 100.0, 120.0, 160.0, 161.0, 250.0),
    "footing_width_in": (8.0, 12.0, 16.0, 20.0, 28.0, 40.0),
    "footing_thickness_in": (4.0, 6.0, 8.0, 12.0),
    "footing_depth_in": (4.0, 12.0, 36.0),
    "soil_psf": (1000.0, 1499.0, 1500.0, 1501.0, 2000.0, 3000.0),
    "guard_height_in": (20.0, 29.0, 30.0, 34.0, 36.0, 42.0),
    "guard_gap_in": (2.0, 4.0, 4.1, 5.9, 6.0, 9.0),
    "stair_guard_height_in": (20.0, 34.0, 36.0),
    "stair_guard_gap_in": (4.0, 4.375, 5.0, 6.0, 6.1),
    "stair_rise_in": (7.0, 7.75, 8.0, 9.0),
    "stair_rise_spread_in": (0.0, 0.375, 0.5, 2.0),
    "stair_run_in": (8.0, 10.0, 11.0),
    "stair_width_in": (30.0, 36.0),
    "headroom_in": (70.0, 80.0),
    "band_moisture_percent": (12.0, 20.0, 21.0, 24.9, 25.0, 40.0),
    "band_probe_depth_in": (0.0, 0.2, 0.25, 0.7, 0.75, 1.0),
    "post_moisture_percent": (12.0, 24.0, 25.0, 40.0),
    "post_probe_depth_in": (0.0, 0.4, 0.5, 1.0),
    "hold_down_capacity_lb": (500.0, 750.0, 1500.0),
    "ledger_bottom_edge_in": (0.3, 0.75, 2.0),
    "band_top_edge_in": (0.5, 1.9, 2.0, 3.0),
    "band_bottom_edge_in": (0.5, 0.75, 2.0),
    "beam_overhang_ft": (0.0, 1.0, 1.5, 2.5, 6.0),
    "joist_span_other_side_ft": (4.0, 8.0, 14.0),
    "post_notch_left_in": (0.5, 1.5, 2.5, 3.0),
    "joist_notch_depth_in": (0.0, 1.0, 1.5, 1.6, 3.0),
    "joist_hole_in": (0.0, 1.0, 3.0, 3.2, 6.0),
    "joist_hole_edge_in": (0.5, 1.9, 2.0, 4.0),
    "decking_maker_spacing_in": (12.0, 16.0, 24.0),
    "frost_depth_in": (0.0, 12.0, 36.0, 48.0),
    "cantilever_probe_depth_in": (0.0, 0.2, 0.5, 1.5),
    "stringer_span_ft": (4.0, 6.0, 6.1, 12.0, 13.3, 16.0),
    "stair_riser_gap_in": (2.0, 4.0, 4.1, 8.0),
    "trip_edge_in": (0.0, 0.25, 0.5, 1.0),
}
COUNTS = {
    "hold_down_count": (0, 1, 2, 3, 4),
    "ledger_fasteners_per_group": (1, 2, 3),
    "storeys": (1, 2),
    "joist_count": (6, 14),
    "post_count": (0, 2, 4),
    "year_built": (1985, 2005, 2020),
    "hangers_with_empty_holes": (0, 1, 5),
    "decking_loose_boards": (0, 1, 6),
}
SIZES = {
    "joist_size": ("2x4", "2x6", "2x7", "2x8", "2x10", "2x12", "2x14", "1x8", "4x8"),
    "ledger_size": ("1x6", "1x8", "2x6", "2x8", "2x10", "2x12"),
    "beam_size": ("1-2x10", "2-2x6", "2-2x8", "2-2x10", "3-2x10", "4-2x10", "3-2x12", "2-2x14", "1-4x10"),
    "post_size": ("2x4", "4x4", "4x6", "4x8", "6x6", "8x8", "10x10"),
}


def _values(key: str) -> st.SearchStrategy:
    schema = FACT_KEYS[key]
    known = NUMBERS.get(key) or COUNTS.get(key) or SIZES.get(key)
    if known:
        return st.sampled_from(known)
    if schema.type == "bool":
        return st.booleans()
    if schema.type == "choice":
        return st.sampled_from(schema.choices)
    if schema.type == "list":
        return st.lists(st.sampled_from(schema.choices), max_size=2, unique=True)
    return st.nothing()


DRAWN = {
    key: _values(key)
    for key, schema in FACT_KEYS.items()
    if key in NUMBERS or key in COUNTS or key in SIZES or schema.type in ("bool", "choice")
}
BASE = {
    "height_above_grade_ft": 2.0,
    "live_load_psf": 40.0,
    "dead_load_psf": 10.0,
    "snow_load_psf": 30.0,
    "extra_load": "none",
    "exposure": "dry",
    "storeys": 1,
    "fire": False,
    "attached": True,
    "has_beam": True,
    "has_stairs": False,
    "has_guard": False,
    "bracing": True,
    "species": "southern-pine",
    "joist_size": "2x10",
    "joist_spacing_in": 16.0,
    "joist_span_ft": 10.0,
    "joist_overhang_ft": 1.0,
    "joist_end_bearing_in": 3.0,
    "joist_bearing": "hanger",
    "joist_count": 10,
    "ledger_size": "2x10",
    "ledger_length_ft": 14.0,
    "ledger_fastener": "half-inch-bolt",
    "ledger_fastener_spacing_in": 9.0,
    "ledger_fasteners_per_group": 1,
    "ledger_edge_in": 2.0,
    "ledger_end_in": 3.0,
    "ledger_row_spacing_in": 3.0,
    "ledger_sheathing_in": 0.5,
    "ledger_stacked_washers_in": 0.0,
    "ledger_gap_in": 0.0,
    "ledger_on": "band-joist",
    "ledger_flashing": "over-ledger",
    "house_side_support": "ledger",
    "beam_size": "2-2x10",
    "beam_span_ft": 6.0,
    "beam_bearing": "on-post",
    "post_size": "6x6",
    "post_species": "southern-pine",
    "post_height_ft": 1.5,
    "post_cap": True,
    "post_count": 2,
    "tributary_area_sqft": 40.0,
    "footing_shape": "square",
    "footing_width_in": 20.0,
    "footing_thickness_in": 10.0,
    "footing_depth_in": 36.0,
    "soil_psf": 1500.0,
    "hold_down_count": 2,
    "hold_down_capacity_lb": 1500.0,
    "band_species": "southern-pine",
    "ledger_species": "southern-pine",
    "band_moisture_percent": 12.0,
    "band_probe_depth_in": 0.0,
    "post_moisture_percent": 12.0,
    "post_probe_depth_in": 0.0,
    "band_top_edge_in": 3.0,
    "band_bottom_edge_in": 3.0,
}
"""A low deck of which everything is known and nothing is wrong (invented)."""
BASE = {key: value for key, value in BASE.items() if key in FACT_KEYS}


@st.composite
def facts(draw, most: int = 14):
    """Facts of a deck: a whole one with some of them changed or unknown, or a few and no more."""
    known = dict(BASE) if draw(st.booleans()) else {}
    for key in draw(st.lists(st.sampled_from(sorted(DRAWN)), max_size=most, unique=True)):
        known[key] = draw(DRAWN[key])
    for key in draw(st.lists(st.sampled_from(sorted(known)), max_size=2, unique=True)) if known else ():
        del known[key]
    if draw(st.integers(0, 7)) == 0:
        known["concealed"] = draw(_values("concealed"))
    return known


SHOTS = [made.photo(f"{n}.jpg", burst=1 if n in (1, 2) else None) for n in range(6)]
PLACES = st.sampled_from([None, None, "left end", "middle", "right end", "joist 3 of 9"])


@st.composite
def labels(draw, tags=VOCABULARY.defects, values=("present", "present", "absent", "unclear")):
    return made.label(
        draw(st.sampled_from(SHOTS)),
        draw(st.sampled_from(tags)),
        draw(st.sampled_from(values)),
        by=draw(st.sampled_from(["Ann", "Ben"])),
        place=draw(PLACES),
        count=draw(st.sampled_from([None, 1, 2, 5])),
    )


@st.composite
def guesses(draw):
    probability = draw(st.sampled_from([0.02, 0.3, 0.5, 0.8, 0.97]))
    pile = "likely" if probability >= 0.5 else draw(st.sampled_from(["unsure", "unlikely"]))
    return made.guess(
        draw(st.sampled_from(SHOTS)), draw(st.sampled_from(VOCABULARY.defects)), probability, pile
    )


EVERYTHING = [f"shows-{element}" for element in VOCABULARY.elements]


def seen_all():
    """Return photos and labels that show every element with looks enough, and deny every core tag."""
    photos, told = [], []
    for place in ("left end", "middle", "right end", "second from left", "second from right"):
        shot = made.photo(f"all-{place}.jpg")
        photos.append(shot)
        told += [made.label(shot, tag, place=place, count=20) for tag in EVERYTHING]
        told += [made.label(shot, tag, "absent") for tag in made.CORE]
    return photos, told


SEEN = seen_all()


@dataclass(frozen=True, repr=False)
class Drawn(DeckEvidence):
    """A deck that says in a failing test what it is made of, without the photos that show everything."""

    def __repr__(self):
        values = {key: fact.value for key, fact in self.facts.items()}
        words = [
            (one.tag, one.value, one.by, one.place, one.count)
            for word in self.words.values()
            for one in word.labels
            if not one.tag.startswith("shows-") and (one.value != "absent" or one.by != "Ann")
        ]
        guessed = [(one.tag, one.pile) for one in self.suggestions.values()]
        return f"facts={values} labels={words} suggestions={guessed}"


@st.composite
def decks(draw, seen=None):
    """A deck: facts, labels and suggestions; in two of three everything was seen well."""
    whole = draw(st.sampled_from([True, True, False])) if seen is None else seen
    photos, told = SEEN if whole else ([], [])
    shots = SHOTS[: draw(st.integers(0, 6))] if draw(st.booleans()) else []
    given = draw(st.lists(labels(), max_size=4)) if shots else []
    latest = list({(one.photo, one.tag, one.by): one for one in given}.values())
    deck = made.deck(
        photos=[*shots, *photos],
        labels=[*latest, *told],
        guesses=draw(st.lists(guesses(), max_size=4)) if shots else [],
        known=draw(facts()),
        promise=dict.fromkeys(made.CORE, draw(st.sampled_from(["holds", "too-few"]))),
    )
    return Drawn(**{field.name: getattr(deck, field.name) for field in fields(deck)})


def completed(known, assess):
    """Return facts with every one that is still asked for set to a value of which no rule complains."""
    photos, told = SEEN
    known = dict(known)
    for _ in range(4):
        asked = assess(made.deck(photos=photos, labels=told, known=known)).unsaid.facts
        for key in asked:
            for value in _candidates(key):
                tried = {**known, key: value}
                if not assess(made.deck(photos=photos, labels=told, known=tried)).concerns:
                    known = tried
                    break
    return known


def _candidates(key):
    schema = FACT_KEYS[key]
    if schema.type == "bool":
        return (True, False)
    if schema.type in ("choice", "list"):
        options = [one for one in schema.choices if one != "unknown"]
        return options if schema.type == "choice" else ([], *([one] for one in options))
    middle = (schema.low + min(schema.high, 100.0)) / 2
    return (
        schema.low,
        36.0 if schema.low <= 36.0 <= schema.high else middle,
        middle,
        min(schema.high, 1000.0),
    )
