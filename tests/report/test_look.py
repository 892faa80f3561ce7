"""The look: contrast by the published formula, a shape for each tier."""

from __future__ import annotations

import pytest

from triage.domain.tiers import TIERS
from triage.report.look import PALETTE, SHAPES, shape_key


def luminance(color: str) -> float:
    """Relative luminance: WCAG 2.2, definition 'relative luminance' (read)."""
    parts = [int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_published_extremes() -> None:
    # WCAG 2.2: black on white is 21:1, equal colors 1:1
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#566066", "#566066") == pytest.approx(1.0)


@pytest.mark.parametrize("name", ["ink", "muted", *TIERS, "not-enough"])
@pytest.mark.parametrize("ground", ["paper", "wash"])
def test_text_has_the_contrast_of_level_aa(name: str, ground: str) -> None:
    assert contrast(PALETTE[name], PALETTE[ground]) >= 4.5  # WCAG 2.2, 1.4.3


def test_every_tier_has_its_own_shape() -> None:
    keys = [shape_key(tier) for tier in (*TIERS, None)]
    assert len(set(keys)) == len({SHAPES[key] for key in keys}) == len(TIERS) + 1
