"""Contrast of the palette in both schemes."""

import pytest

from sitegen.chart.theme import BACKGROUNDS, PALETTE, RAMP_LENGTH

TEXT = ("ink", "muted", "accent", "second", "alarm")
MARKS = ("rule",)


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.2 (W3C, 2023), quoted from memory."""
    shares = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio by WCAG 2.2: 1 to 21."""
    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_the_formula_itself() -> None:
    """Black on white is 21:1; #767676 on white is the well-known last grey above 4.5:1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") > 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("scheme", (0, 1))
class TestContrast:
    def test_text(self, scheme: int) -> None:
        """WCAG 2.2, 1.4.3: text needs 4.5:1."""
        for part in TEXT:
            assert contrast(PALETTE[part][scheme], BACKGROUNDS[scheme]) >= 4.5, part

    def test_marks(self, scheme: int) -> None:
        """WCAG 2.2, 1.4.11: what must be seen to understand a drawing needs 3:1."""
        for part in MARKS:
            assert contrast(PALETTE[part][scheme], BACKGROUNDS[scheme]) >= 3, part

    def test_marks_on_the_ramp(self, scheme: int) -> None:
        for place in range(RAMP_LENGTH):
            mark = "paper" if place >= 4 else "ink"
            fill = PALETTE[f"ramp-{place}"][scheme]
            assert contrast(PALETTE[mark][scheme], fill) >= 3, place

    def test_marks_on_verdicts(self, scheme: int) -> None:
        for fill in ("accent-soft", "alarm-soft", "band", "paper"):
            assert contrast(PALETTE["ink"][scheme], PALETTE[fill][scheme]) >= 4.5, fill

    def test_median_on_its_band(self, scheme: int) -> None:
        for line in ("second", "accent"):
            assert contrast(PALETTE[line][scheme], PALETTE["band"][scheme]) >= 3, line

    def test_ramp_goes_one_way(self, scheme: int) -> None:
        ramp = [luminance(PALETTE[f"ramp-{place}"][scheme]) for place in range(RAMP_LENGTH)]
        assert ramp == sorted(ramp, reverse=scheme == 0)
