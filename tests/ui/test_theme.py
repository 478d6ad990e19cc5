"""Contrast of the themes against WCAG 2.2 (https://www.w3.org/TR/WCAG22/, 1.4.3 and 1.4.11)."""

from __future__ import annotations

import re

import pytest

from thermview.errors import UsageError
from thermview.paths import resource
from thermview.ui import theme as themes
from thermview.ui.theme import DARK, LIGHT, Theme, contrast, set_theme, stylesheet, tokens

BOTH = pytest.mark.parametrize("theme", [DARK, LIGHT], ids=lambda t: t.name)


def test_contrast_of_published_pairs() -> None:
    # black on white is 21:1, the definition's own end point; #767676 on white is W3C's customary
    # example of the lightest grey that still passes 4.5:1 (4.54:1)
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") < 4.5


@BOTH
def test_text_reaches_aa_on_every_ground(theme: Theme) -> None:
    grounds = (
        theme.window,
        theme.panel,
        theme.raised,
        theme.sunken,
        theme.field,
        theme.select,
    )
    for ground in grounds:
        for colour in (theme.text, theme.text_dim, theme.warning, theme.error, theme.good):
            assert contrast(colour, ground) >= 4.5, (colour, ground)
    for ground in grounds[:-1]:
        assert contrast(theme.accent, ground) >= 4.5
        assert contrast(theme.line, ground) >= 3.0
    assert contrast(theme.on_accent, theme.accent) >= 4.5


@BOTH
def test_curves_and_their_names_can_be_read(theme: Theme) -> None:
    curves = (*theme.regions, theme.supply_voltage, theme.supply_current, theme.playhead)
    for colour in curves:
        assert contrast(colour, theme.panel) >= 4.5
    assert len(set(theme.regions)) == len(theme.regions)


@BOTH
def test_the_small_signs_have_the_themes_colours(theme: Theme) -> None:
    for sign in ("down", "up", "check"):
        svg = resource("window", f"{sign}-{theme.name}.svg").read_text(encoding="utf-8")
        colour = theme.on_accent if sign == "check" else theme.text_dim
        assert f'stroke="{colour}"' in svg


@BOTH
def test_nothing_important_is_smaller_than_12_px(theme: Theme) -> None:
    sizes = [int(n) for n in re.findall(r"font-size: (\d+)px", stylesheet(theme))]
    assert min(sizes) >= 12
    assert theme.huge >= 32


def test_the_theme_is_chosen_by_name() -> None:
    before = tokens().name
    try:
        assert set_theme("light") is LIGHT
        assert tokens() is LIGHT
        with pytest.raises(UsageError, match="dark or light"):
            set_theme("pink")
        assert tokens() is LIGHT
    finally:
        set_theme(before)


def test_region_colours_repeat() -> None:
    count = len(DARK.regions)
    assert DARK.region_colour(0) == DARK.region_colour(count)
    assert themes.THEMES.keys() == {"dark", "light"}
