"""Published values of joists, beams, posts and footings, and the same joists and beams by mechanics."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from structure_refs import Case, Ref, capacity, demand, inches

from triage.structure.nds_members import beam_span_ft, beam_width_ft, joist_span_ft

SP, CEDAR = "southern-pine", "western-cedar"
WESTERN = ("douglas-fir-larch", "hem-fir", "spruce-pine-fir")
SPACINGS_IN = (12, 16, 24)
SPANS_FT = (6, 8, 10, 12, 14, 16, 18)
LOADS = {40: "40 psf live", 50: "50 psf snow", 60: "60 psf snow", 70: "70 psf snow"}

# IRC 2021 Table R507.6, spans in feet-inches at 12, 16 and 24 in; No. 2, wet service, 10 psf dead load.
# 40 psf rows and the southern pine 2x10 at 16 in read in two public copies, the other snow rows in one.
JOISTS = {
    SP: {
        40: {
            "2x6": "9-11 9-0 7-7",
            "2x8": "13-1 11-10 9-8",
            "2x10": "16-2 14-0 11-5",
            "2x12": "18-0 16-6 13-6",
        },
        50: {
            "2x6": "9-2 8-4 7-4",
            "2x8": "12-1 11-0 9-5",
            "2x10": "15-5 13-9 11-3",
            "2x12": "18-0 16-2 13-2",
        },
        60: {
            "2x6": "8-8 7-10 6-10",
            "2x8": "11-5 10-4 8-9",
            "2x10": "14-7 12-9 10-5",
            "2x12": "17-3 15-0 12-3",
        },
        70: {
            "2x6": "8-3 7-6 6-5",
            "2x8": "10-10 9-10 8-2",
            "2x10": "13-9 11-11 9-9",
            "2x12": "16-2 14-0 11-5",
        },
    },
    "western": {
        40: {
            "2x6": "9-6 8-4 6-10",
            "2x8": "12-6 11-1 9-1",
            "2x10": "15-8 13-7 11-1",
            "2x12": "18-0 15-9 12-10",
        },
        50: {
            "2x6": "8-10 8-0 6-8",
            "2x8": "11-7 10-7 8-11",
            "2x10": "14-10 13-3 10-10",
            "2x12": "17-9 15-5 12-7",
        },
        60: {
            "2x6": "8-4 7-6 6-2",
            "2x8": "10-11 9-11 8-3",
            "2x10": "13-11 12-4 10-0",
            "2x12": "16-6 14-3 11-8",
        },
        70: {
            "2x6": "7-11 7-1 5-9",
            "2x8": "10-5 9-5 7-8",
            "2x10": "13-3 11-6 9-5",
            "2x12": "15-5 13-4 10-11",
        },
    },
    CEDAR: {
        40: {
            "2x6": "8-10 8-0 6-10",
            "2x8": "11-8 10-7 8-8",
            "2x10": "14-11 13-0 10-7",
            "2x12": "17-5 15-1 12-4",
        },
        50: {
            "2x6": "8-3 7-6 6-6",
            "2x8": "10-10 9-10 8-6",
            "2x10": "13-10 12-7 10-5",
            "2x12": "16-10 14-9 12-1",
        },
        60: {"2x6": "7-9 7-0 6-2", "2x8": "10-2 9-3 7-11", "2x10": "13-0 11-9 9-7", "2x12": "15-9 13-8 11-2"},
        70: {"2x6": "7-4 6-8 5-10", "2x8": "9-8 8-10 7-4", "2x10": "12-4 11-0 9-0", "2x12": "14-9 12-9 10-5"},
    },
}
# The edition traps of the 40 psf rows: IRC 2018 Table R507.6, 2x6.
JOISTS_2018 = {"western": {"2x6": "9-6 8-8 7-2"}, CEDAR: {"2x6": "8-10 8-0 7-0"}}

# IRC 2021 Tables R507.5(1) to (4), spans in feet-inches for effective joist spans of 6 to 18 ft. The 40 psf
# table was read in two public copies, southern pine at 50 to 70 psf in one; `-` stands for a cell
# that is not held, or whose live load row is not.
BEAMS_2021 = {
    (SP, 40): {
        "2-2x6": "6-11 5-11 5-4 4-10 4-6 4-3 4-0",
        "2-2x8": "8-9 7-7 6-9 6-2 5-9 5-4 5-0",
        "2-2x10": "10-4 9-0 8-0 7-4 6-9 6-4 6-0",
        "2-2x12": "12-2 10-7 9-5 8-7 8-0 - 7-0",
        "3-2x6": "8-6 7-5 6-8 6-1 5-8 5-3 4-11",
        "3-2x8": "10-11 9-6 8-6 7-9 7-2 6-8 6-4",
        "3-2x10": "13-0 11-2 10-0 9-2 8-6 7-11 7-6",
        "3-2x12": "15-3 13-3 11-10 10-9 10-0 9-4 8-10",
    },
    ("western", 40): {
        "2-2x6": "6-1 5-3 4-9 4-4 3-11 3-7 3-3",
        "2-2x8": "8-2 7-1 6-4 5-9 5-2 4-8 4-4",
        "2-2x10": "10-0 8-7 7-9 7-0 6-6 6-0 5-6",
        "2-2x12": "11-7 10-0 8-11 8-2 7-7 7-1 6-8",
        "3-2x6": "7-8 6-8 6-0 5-6 5-1 4-9 4-6",
        "3-2x8": "10-3 8-10 7-11 7-3 6-8 6-3 5-11",
        "3-2x10": "12-6 10-10 9-8 8-10 8-2 7-8 7-2",
        "3-2x12": "14-6 12-7 11-3 10-3 9-6 8-11 8-5",
    },
    (SP, 50): {
        "2-2x6": "6-8 5-9 5-2 4-9 4-4 4-1 3-10",
        "2-2x8": "8-6 7-4 6-7 6-0 5-7 5-2 4-11",
        "2-2x10": "10-1 8-9 7-10 7-1 6-7 6-2 5-10",
        "2-2x12": "11-11 10-3 9-2 8-5 7-9 - 6-10",
        "3-2x6": "7-11 7-2 6-6 5-11 5-6 5-1 4-10",
        "3-2x8": "10-5 9-3 8-3 7-6 6-11 6-6 6-2",
        "3-2x10": "12-8 10-11 9-9 8-11 8-3 7-9 7-3",
        "3-2x12": "14-11 12-11 11-6 10-6 9-9 9-1 8-7",
    },
    (SP, 60): {
        "2-2x6": "6-2 5-4 4-9 4-4 4-0 3-9 3-7",
        "2-2x8": "7-10 6-10 6-1 5-7 5-2 4-10 4-6",
        "2-2x10": "9-4 8-1 7-3 6-7 6-1 5-8 5-4",
        "2-2x12": "11-0 9-6 8-6 7-9 7-2 6-9 6-4",
        "3-2x6": "7-5 6-9 6-0 5-6 5-1 4-9 4-6",
        "3-2x8": "9-9 8-6 - 6-11 6-5 6-0 5-8",
        "3-2x10": "11-8 10-2 - 8-3 7-8 7-2 6-9",
        "3-2x12": "13-9 11-11 10-8 9-9 9-0 8-5 7-11",
    },
    (SP, 70): {
        "2-2x6": "5-9 5-0 4-6 4-1 3-9 3-6 3-4",
        "2-2x8": "7-4 6-4 5-8 5-2 4-10 4-6 4-3",
        "2-2x10": "8-9 7-7 6-9 6-2 5-8 5-4 5-0",
        "2-2x12": "10-3 8-11 8-0 7-3 6-9 6-3 5-11",
        "3-2x6": "7-0 6-3 5-7 5-1 4-9 4-5 4-2",
        "3-2x8": "9-3 8-0 7-2 6-6 6-0 5-8 5-4",
        "3-2x10": "10-11 9-6 8-6 7-9 7-2 6-8 6-4",
        "3-2x12": "12-11 11-2 10-0 9-1 8-5 7-11 7-5",
    },
}
# AWC DCA 6-2015 Table 3A, southern pine, and IRC 2018 Table R507.5, southern pine; joist spans of 6 to 18 ft.
BEAMS_DCA6 = {
    "2-2x6": "6-8 5-8 5-1 4-7 4-3 4-0 3-9",
    "2-2x8": "8-6 7-4 6-6 5-11 5-6 5-1 4-9",
    "2-2x10": "10-1 8-9 7-9 7-1 6-6 6-1 5-9",
    "2-2x12": "11-11 10-4 9-2 8-4 7-9 7-3 6-9",
    "3-2x8": "10-7 9-3 8-3 7-6 6-11 6-5 6-1",
    "3-2x10": "12-9 11-0 9-9 8-9 8-3 7-8 7-3",
    "3-2x12": "15-0 13-0 11-7 10-6 9-9 9-1 8-7",
}
BEAMS_2018 = {
    "2-2x8": "8-9 7-7 6-9 6-2 5-9 5-4 5-0",
    "2-2x10": "10-4 9-0 8-0 7-4 6-9 6-4 6-0",
    "3-2x12": "15-3 13-3 11-10 10-9 10-0 9-4 8-10",
}
# IRC 2021 Table R507.5(5): factor by joist overhang over joist span.
FACTORS = ((0, "0.66"), (1 / 12, "0.72"), (1 / 10, "0.80"), (1 / 8, "0.84"), (1 / 6, "0.90"), (1 / 4, "1.00"))


def _species(group: str) -> str:
    return WESTERN[1] if group == "western" else group


def joist_table_cases() -> Iterator[Case]:
    for group, loads in JOISTS.items():
        for load, sizes in loads.items():
            snow = {} if load == 40 else {"snow_load_psf": load}
            for size, printed in sizes.items():
                where = f"Table R507.6, {group} {size}, {LOADS[load]}"
                yield from _joists(
                    Ref("IRC", "2021", where, printed), group, size, {"live_load_psf": 40, **snow}
                )
    for group, rows in JOISTS_2018.items():
        for size, printed in rows.items():
            ref = Ref("IRC", "2018", f"Table R507.6, {group} {size}, 40 psf live", printed)
            yield from _joists(ref, group, size, {"code_edition": "irc-2018"})


def _joists(ref: Ref, group: str, size: str, extra: dict[str, Any]) -> Iterator[Case]:
    for spacing_in, value in zip(SPACINGS_IN, ref.printed_value.split(), strict=True):
        facts = {"species": _species(group), "joist_size": size, "joist_spacing_in": spacing_in, **extra}
        cell = Ref(ref.source, ref.edition, f"{ref.place}, {spacing_in} in", value, ref.how)
        label = f"{ref.edition} {cell.place}"
        yield Case(cell, "joist-span", label, inches(value), capacity("joist-span", facts, 12), 1e-6)


def joist_mechanics_cases() -> Iterator[Case]:
    """The printed joist spans by bending and deflection: the weakest species of the group governs."""
    for group, species in ((SP, (SP,)), ("western", WESTERN)):
        for load, sizes in JOISTS[group].items():
            for size, printed in sizes.items():
                for spacing_in, value in zip(SPACINGS_IN, printed.split(), strict=True):
                    place = f"Table R507.6, {group} {size}, {LOADS[load]}, {spacing_in} in"
                    ref = Ref("IRC", "2021", place, value)
                    yield Case(
                        ref,
                        "joist-span by mechanics",
                        place,
                        inches(value),
                        _joist(species, size, spacing_in, load),
                        0.5,
                        by_equation=True,
                    )


def _joist(species: tuple[str, ...], size: str, spacing_in: float, load: int) -> Any:
    def measure() -> float:
        duration = 1.0 if load == 40 else 1.15
        spans = [joist_span_ft(name, size, spacing_in, load, 10, duration) for name in species]
        return 12 * min(span for span in spans if span is not None)

    return measure


def beam_table_cases() -> Iterator[Case]:
    for (group, load), sizes in BEAMS_2021.items():
        snow = {} if load == 40 else {"snow_load_psf": load}
        table = {40: "(1)", 50: "(2)", 60: "(3)", 70: "(4)"}[load]
        for size, printed in sizes.items():
            ref = Ref("IRC", "2021", f"Table R507.5{table}, {group} {size}, {LOADS[load]}", printed)
            yield from _beams(ref, group, size, {"live_load_psf": 40, **snow}, quarter=True)
    for size, printed in BEAMS_DCA6.items():
        ref = Ref("AWC DCA 6", "2015", f"Table 3A, southern pine {size}", printed)
        yield from _beams(ref, SP, size, {"code_edition": "dca6-2015"}, quarter=False)
    for size, printed in BEAMS_2018.items():
        ref = Ref("IRC", "2018", f"Table R507.5, southern pine {size}", printed)
        yield from _beams(ref, SP, size, {"code_edition": "irc-2018"}, quarter=False)


def _beams(ref: Ref, group: str, size: str, extra: dict[str, Any], *, quarter: bool) -> Iterator[Case]:
    """A joist that overhangs by a quarter of its span has its own span as effective span."""
    for span_ft, value in zip(SPANS_FT, ref.printed_value.split(), strict=True):
        if value == "-":
            continue
        facts = {"species": _species(group), "beam_size": size, "joist_span_ft": span_ft, **extra}
        if quarter:
            facts["joist_overhang_ft"] = span_ft / 4
        cell = Ref(ref.source, ref.edition, f"{ref.place}, joists {span_ft} ft", value, ref.how)
        label = f"{ref.source} {ref.edition} {cell.place}"
        yield Case(cell, "beam-span", label, inches(value), capacity("beam-span", facts, 12), 1e-6)


def beam_factor_cases() -> Iterator[Case]:
    from triage.structure.irc_beams import joist_span_factor

    for ratio, value in FACTORS:
        ref = Ref("IRC", "2021", f"Table R507.5(5), overhang over span {ratio:.3f}", value)
        yield Case(
            ref, "beam-span", ref.place, float(value), lambda ratio=ratio: joist_span_factor(ratio), 1e-9
        )


def beam_mechanics_cases() -> Iterator[Case]:
    """Southern pine beams of IRC 2021 by bending: printed within an inch."""
    for (group, load), sizes in BEAMS_2021.items():
        for size, printed in sizes.items() if group == SP else ():
            for span_ft, value in zip(SPANS_FT, printed.split(), strict=True):
                if value != "-":
                    place = f"Tables R507.5(1)-(4), southern pine {size}, {LOADS[load]}, joists {span_ft} ft"
                    yield Case(
                        Ref("IRC", "2021", place, value),
                        "beam-span by mechanics",
                        place,
                        inches(value),
                        _beam(size, span_ft, load),
                        1.0,
                        by_equation=True,
                    )


def _beam(size: str, span_ft: float, load: int) -> Any:
    def measure() -> float:
        plies, member = size.split("-")
        width_ft, duration = beam_width_ft(span_ft, span_ft / 4), 1.0 if load == 40 else 1.15
        found = beam_span_ft(SP, int(plies), member, width_ft, load, 10, duration)
        assert found is not None
        return 12 * found

    return measure


AREAS_SQFT = (20, 40, 60, 80, 100, 120, 140, 160)
POST_4X4 = "14-0 13-8 11-0 9-5 8-4 7-5 6-9 6-2"
POST_4X6_FROM_MEMORY = {80: "12-0", 100: "10-8", 120: "9-8", 140: "8-10", 160: "8-2"}
POSTS_2018 = (
    ("4x4", {}, "6-9"),
    ("4x4", {"post_cap": True, "beam_size": "2-2x10"}, "8-0"),
    ("4x6", {}, "8-0"),
    ("6x6", {}, "14-0"),
    ("8x8", {}, "14-0"),
)
FOOTINGS = ((60, 17, 19, 6), (100, 22, 25, 8), (160, 28, 31, 11))


def post_cases() -> Iterator[Case]:
    for area, value in zip(AREAS_SQFT, POST_4X4.split(), strict=True):
        yield _post(
            Ref("IRC", "2021", f"Table R507.4, southern pine 4x4, 40 psf, {area} sq ft", value), "4x4", area
        )
    for area, value in POST_4X6_FROM_MEMORY.items():
        place = f"Table R507.4, southern pine 4x6, 40 psf, {area} sq ft"
        yield _post(Ref("IRC", "2021", place, value, "memory"), "4x6", area, by_equation=True)
    for size, extra, value in POSTS_2018:
        place = f"Table R507.4, {size}{' under two plies on a cap' if extra else ''}"
        facts = {"code_edition": "irc-2018", "post_size": size, "post_height_ft": 5, **extra}
        measured = capacity("post-height", facts, 12)
        yield Case(
            Ref("IRC", "2018", place, value), "post-height", f"2018 {place}", inches(value), measured, 1e-6
        )


def _post(ref: Ref, size: str, area: float, *, by_equation: bool = False) -> Case:
    facts = {"post_size": size, "post_height_ft": 5, "species": SP, "tributary_area_sqft": area}
    measured = capacity("post-height", facts, 12)
    tolerance = 0.5 if by_equation else 1e-6
    return Case(ref, "post-height", ref.place, inches(ref.printed_value), measured, tolerance, by_equation)


def footing_cases() -> Iterator[Case]:
    for area, square, rounded, thick in FOOTINGS:
        base = {"tributary_area_sqft": area, "soil_psf": 1500, "live_load_psf": 40}
        for shape, value in (("square", square), ("round", rounded)):
            facts = {**base, "footing_shape": shape, "footing_width_in": 40}
            ref = Ref("IRC", "2021", f"Table R507.3.1, {area} sq ft, {shape}", f"{value} in")
            yield Case(ref, "footing-size", ref.place, value, demand("footing-size", facts))
        thin = {**base, "footing_shape": "square", "footing_width_in": 40, "footing_thickness_in": 1}
        ref = Ref("IRC", "2021", f"Table R507.3.1, {area} sq ft, thickness", f"{thick} in")
        yield Case(ref, "footing-size", ref.place, thick, demand("footing-size", thin))


CASES = [
    *joist_table_cases(),
    *joist_mechanics_cases(),
    *beam_table_cases(),
    *beam_factor_cases(),
    *post_cases(),
    *footing_cases(),
]
BEAMS_BY_MECHANICS = [*beam_mechanics_cases()]
