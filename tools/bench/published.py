"""Print how the structural checks compare with published values: check, number of values, largest difference.

    tools/bench/run published            print the table
    tools/bench/run published --write    write it into tools/bench/results/published.md too

The values are those of `tests/published/`. A test fails where the file differs from what is printed here.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from pathlib import Path

VALUES = Path(__file__).resolve().parents[2] / "tests" / "published"
RESULTS = Path(__file__).parent / "results" / "published.md"


HEAD = """# Structural checks against published values

Command: `tools/bench/run published --write`. Measured: at every run of the tests.
Data: values typed in `tests/published`, none read from the project's own tables.

"""
TAIL = """
Look-ups agree because data and tests were transcribed from the same public copies; what guards them against
a misreading is two copies where there are two, and mechanics. Printed beam spans are rounded in one place and
cut off in another, so mechanics agrees with them to within an inch.
"""


def report() -> tuple[str, int]:
    """Return the table in Markdown and how many values lie outside their tolerance."""
    if str(VALUES) not in sys.path:
        sys.path.insert(0, str(VALUES))
    from structure_refs import Case
    from structure_values_ledger import CASES as LEDGER
    from structure_values_nds import CASES as NDS
    from structure_values_spans import BEAMS_BY_MECHANICS
    from structure_values_spans import CASES as SPANS

    groups: dict[tuple[str, str], list[Case]] = defaultdict(list)
    for case in [*LEDGER, *SPANS, *NDS, *BEAMS_BY_MECHANICS]:
        groups[case.check, case.unit].append(case)
    lines = [
        "| check | source | values | by equation | largest difference | off by more than half a digit |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    outside = 0
    for (check, unit), cases in groups.items():
        sources = ", ".join(dict.fromkeys(f"{case.ref.source} {case.ref.edition}" for case in cases))
        largest = max(abs(case.difference) for case in cases)
        off = sum(abs(case.difference) > max(_half_digit(case), 1e-9) for case in cases)
        computed = sum(case.by_equation for case in cases)
        numbers = f"{len(cases)} | {computed} | {largest:.2f} {unit} | {off}"
        lines.append(f"| {check} | {sources} | {numbers} |")
        outside += off if check != "beam-span by mechanics" else 0
    total = sum(len(cases) for cases in groups.values())
    computed = sum(case.by_equation for cases in groups.values() for case in cases)
    lines.append(
        f"\n{total:,} published values, {computed} computed by equations; {outside} outside their tolerance."
    )
    return "\n".join(lines) + "\n", outside


def main() -> int:
    """Print the table; return 1 when a value lies outside its tolerance."""
    table, outside = report()
    print(table, end="")
    if "--write" in sys.argv[1:]:
        RESULTS.write_text(HEAD + table + TAIL, encoding="utf-8")
    return 1 if outside else 0


def _half_digit(case: object) -> float:
    """Return half of the last printed digit; an inch is the last digit of a span by mechanics."""
    tolerance = float(getattr(case, "tolerance", 0.0))
    return 0.5 if tolerance == 1.0 else tolerance


if __name__ == "__main__":
    sys.exit(main())
