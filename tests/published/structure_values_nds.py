"""Published design values of dowel-type fasteners (NDS 2018), all computed by the equations of chapter 12."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from structure_refs import Case, Ref, capacity

from triage.structure import nds_dowel as nds

NAME = "ledger-fastener-mechanics"


def _wood(gravity: float, diameter_in: float, angle_deg: float, length_in: float) -> nds.Member:
    return nds.Member(nds.bearing_strength_psi(gravity, diameter_in, angle_deg), length_in)


# Dowel bearing strength, NDS 2018 Table 12.3.3: (G, diameter, angle, psi).
BEARING = (
    (0.50, 0.5, 0, 5600, "read"),
    (0.50, 0.5, 90, 3150, "read"),
    (0.50, 0.162, 0, 4650, "read"),
    (0.55, 0.5, 0, 6150, "memory"),
    (0.55, 0.162, 0, 5550, "memory"),
    (0.42, 0.5, 0, 4700, "memory"),
    (0.42, 0.162, 0, 3350, "memory"),
    (0.43, 0.5, 0, 4800, "memory"),
    (0.43, 0.162, 0, 3500, "memory"),
)

# Bolts in single shear, 1-1/2 in main and side member, NDS 2018 Table 12A, lb rounded to 10:
# parallel, side member perpendicular, main member perpendicular, both perpendicular.
ANGLES = ((0, 0), (0, 90), (90, 0), (90, 90))
BOLTS = (
    (0.5, 0.50, (480, 300, 300, 220)),
    (0.5, 0.42, (410, 240, 240, 170)),
    (0.75, 0.50, (720, 420, 420, 270)),
)

# Common nails in single shear, NDS 2018 Table 12N, lb rounded to 1: (diameter, length, side member, G, Z).
NAILS = (
    (0.162, 3.5, 1.5, 0.50, 141, "16d"),
    (0.162, 3.5, 1.5, 0.42, 120, "16d"),
    (0.113, 2.0, 0.75, 0.50, 72, "6d"),
    (0.131, 2.5, 0.75, 0.50, 90, "8d"),
    (0.148, 3.0, 0.75, 0.50, 105, "10d"),
    (0.162, 3.5, 0.75, 0.50, 121, "16d"),
)

# Lag screws with a steel side plate, NDS 2018 Table 12K, lb rounded to 10; penetration 8 D; for every
# specific gravity the value parallel and perpendicular to grain. Side plate A653 grade 33: F_e 61,850 psi.
GRAVITIES_12K = (0.67, 0.55, 0.50, 0.49, 0.46, 0.43, 0.42, 0.37, 0.36, 0.35)
STEEL_FE_PSI = 61_850.0
LAGS_12K = {
    (0.075, "1/4"): "170 130 160 120 150 110 150 110 150 100 140 100 140 100 130 90 130 90 130 90",
    (0.075, "5/16"): "220 160 200 140 190 130 190 130 190 130 180 120 180 120 170 110 170 110 160 100",
    (0.075, "3/8"): "220 160 200 140 200 130 190 130 190 120 180 120 180 120 170 110 170 100 170 100",
    (0.105, "1/4"): "180 140 170 130 160 120 160 120 160 110 150 110 150 110 140 100 140 100 140 90",
    (0.105, "5/16"): "230 170 210 150 200 140 200 140 190 130 190 130 190 120 180 110 170 110 170 110",
    (0.105, "3/8"): "230 160 210 140 200 140 200 130 200 130 190 120 190 120 180 110 180 110 170 110",
    (0.120, "1/4"): "190 150 180 130 170 120 170 120 160 120 160 110 160 110 150 100 150 100 140 100",
    (0.120, "5/16"): "230 170 210 150 210 140 200 140 200 140 190 130 190 130 180 120 180 120 180 110",
    (0.120, "3/8"): "240 170 220 150 210 140 210 140 200 130 200 130 190 120 180 110 180 110 180 110",
    (0.134, "1/4"): "200 150 180 140 180 130 170 130 170 120 160 120 160 110 150 110 150 100 150 100",
}


def _fraction(text: str) -> float:
    over, _, under = text.partition("/")
    return float(over) / float(under or 1)


def bearing_cases() -> Iterator[Case]:
    for gravity, diameter, angle, value, how in BEARING:
        place = f"Table 12.3.3, G {gravity}, D {diameter}, {angle} deg"
        ref = Ref("NDS", "2018", place, f"{value} psi", how)
        yield Case(
            ref, NAME, place, value, _bearing(gravity, diameter, angle), 25, by_equation=True, unit="psi"
        )


def _bearing(gravity: float, diameter_in: float, angle_deg: float) -> Callable[[], float]:
    return lambda: nds.bearing_strength_psi(gravity, diameter_in, angle_deg)


def bolt_cases() -> Iterator[Case]:
    for diameter, gravity, values in BOLTS:
        for (main, side), value in zip(ANGLES, values, strict=True):
            place = f"Table 12A, {diameter} in bolt, G {gravity}, main {main} deg, side {side} deg"
            yield Case(
                Ref("NDS", "2018", place, f"{value} lb"),
                NAME,
                place,
                value,
                _bolt(diameter, gravity, main, side),
                5,
                by_equation=True,
                unit="lb",
            )


def _bolt(diameter: float, gravity: float, main_deg: float, side_deg: float) -> Callable[[], float]:
    def measure() -> float:
        main, side = _wood(gravity, diameter, main_deg, 1.5), _wood(gravity, diameter, side_deg, 1.5)
        return nds.reference_value_lb(main, side, nds.bolt(diameter), max(main_deg, side_deg))[0]

    return measure


def bolts_through_check_cases() -> Iterator[Case]:
    """The same 1/2 in bolts across the grain, through the check: dry, live load, no factor below 1."""
    for species, value in (("douglas-fir-larch", 220), ("spruce-pine-fir", 170)):
        facts = {
            "ledger_fastener": "half-inch-bolt",
            "joist_span_ft": 10,
            "ledger_fastener_spacing_in": 12,
            "ledger_sheathing_in": 0,
            "ledger_species": species,
            "band_species": species,
            "exposure": "dry",
        }
        place = f"Table 12A, 0.5 in bolt, both members perpendicular, {species}"
        yield Case(
            Ref("NDS", "2018", place, f"{value} lb"),
            NAME,
            f"check: {place}",
            value,
            capacity(NAME, facts),
            5,
            by_equation=True,
            unit="lb",
        )


def nail_cases() -> Iterator[Case]:
    for diameter, length, side_in, gravity, value, size in NAILS:
        place = f"Table 12N, {size} common nail, side member {side_in} in, G {gravity}"
        yield Case(
            Ref("NDS", "2018", place, f"{value} lb"),
            NAME,
            place,
            value,
            _nail(diameter, length, side_in, gravity),
            0.5,
            by_equation=True,
            unit="lb",
        )


def _nail(diameter: float, length: float, side_in: float, gravity: float) -> Callable[[], float]:
    def measure() -> float:
        main = _wood(gravity, diameter, 0, length - side_in - diameter)
        return nds.reference_value_lb(main, _wood(gravity, diameter, 0, side_in), nds.nail(diameter))[0]

    return measure


def lag_cases() -> Iterator[Case]:
    for (plate_in, size), printed in LAGS_12K.items():
        values = iter(printed.split())
        for gravity in GRAVITIES_12K:
            for angle in (0, 90):
                value = int(next(values))
                place = f"Table 12K, {size} in lag screw, plate {plate_in:.3f} in, G {gravity}, {angle} deg"
                yield Case(
                    Ref("NDS", "2018", place, f"{value} lb"),
                    NAME,
                    place,
                    value,
                    _lag(plate_in, _fraction(size), gravity, angle),
                    5,
                    by_equation=True,
                    unit="lb",
                )


LAG_TIP_IN: dict[float, float] = {
    0.25: 5 / 32,
    0.3125: 3 / 16,
    0.375: 7 / 32,
    0.4375: 9 / 32,
    0.5: 5 / 16,
    0.625: 3 / 8,
    0.75: 7 / 16,
    0.875: 1 / 2,
    1.0: 9 / 16,
}
"""Length of the tapered tip, NDS 2018 Table L2, by nominal diameter."""


def _lag(plate_in: float, diameter: float, gravity: float, angle_deg: float) -> Callable[[], float]:
    def measure() -> float:
        length_in = 8 * diameter - LAG_TIP_IN[diameter] / 2
        main = _wood(gravity, diameter, angle_deg, length_in)
        return nds.reference_value_lb(
            main, nds.Member(STEEL_FE_PSI, plate_in), nds.lag_screw(diameter), angle_deg
        )[0]

    return measure


def withdrawal_cases() -> Iterator[Case]:
    place = "Table 12.2C, 8d common nail, G 0.5"
    yield Case(
        Ref("NDS", "2018", place, "32 lb/in"),
        "withdrawal",
        place,
        32,
        lambda: nds.nail_withdrawal_lb_per_in(0.50, 0.131),
        0.5,
        by_equation=True,
        unit="lb/in",
    )


CASES = [
    *bearing_cases(),
    *bolt_cases(),
    *bolts_through_check_cases(),
    *nail_cases(),
    *lag_cases(),
    *withdrawal_cases(),
]
