"""Drawings as inline SVG: the page's colours, names as they are, and nothing that collides."""

from __future__ import annotations

import re

import pytest
from matplotlib.figure import Figure

from slackwater.fitting.report.page import canvas
from slackwater.fitting.report.page.canvas import NARROW, SERIES, WIDE, Size, picture, shortened
from slackwater.fitting.report.page.pictures_intervals import Ground, Row, intervals

NAME = 'a <b> #060606 id="y" url(#z) 1.23456  two  spaces $x$'


def drawing(size: Size) -> Figure:
    fig = canvas.figure(size, 100)
    ax = canvas.axes(fig, 30, 10, 10, 20)
    ax.plot([1, 2], [1, 3], "o-", color=SERIES[0])
    canvas.write(ax, 1, 2, NAME, size)
    return fig


def test_colours_are_left_to_the_page() -> None:
    drawn = picture("one", drawing)
    for svg in (drawn.narrow, drawn.wide):
        tags = re.sub(r">[^<]*<", "><", svg)
        assert "var(--series-1)" in tags
        assert re.findall(r"#0[0-9a-f]0[0-9a-f]0[0-9a-f]", tags) == []
        assert "font-family" not in tags


def test_names_are_not_touched() -> None:
    escaped = NAME.replace("<", "&lt;").replace(">", "&gt;")
    assert f">{escaped}<" in picture("one", drawing).narrow


def test_a_unit_is_a_pixel() -> None:
    drawn = picture("one", drawing)
    assert 'viewBox="0 0 320 100"' in drawn.narrow
    assert 'viewBox="0 0 720 100"' in drawn.wide
    assert f'font-size="{NARROW.text:g}px"' in drawn.narrow
    assert f'font-size="{WIDE.text:g}px"' in drawn.wide


def test_the_same_drawing_is_the_same_and_pictures_share_no_id() -> None:
    one, again, other = (picture(key, drawing) for key in ("one", "one", "other"))
    assert one == again
    ids = [
        found
        for svg in (one.narrow, one.wide, other.narrow, other.wide)
        for found in re.findall(r'<[^>]* id="([^"]*)"', svg)
    ]
    assert ids
    assert len(ids) == len(set(ids))


def test_nothing_of_the_drawing_program_is_left_behind() -> None:
    svg = picture("one", drawing).narrow
    assert "<style" not in svg
    assert "<metadata" not in svg
    assert "http" not in svg


def test_long_names_are_cut_with_an_ellipsis_and_short_ones_are_not() -> None:
    assert shortened("hill run", 100, WIDE) == "hill run"
    cut = shortened("a very long name of a session", 100, WIDE)
    assert cut.endswith("…")
    assert "a very long name of a session".startswith(cut[:-1])
    assert len(shortened("漢" * 50, 100, WIDE)) < len(shortened("i" * 50, 100, WIDE))


def test_intervals_stand_where_their_numbers_are() -> None:
    ground = Ground("days", 0.0, (-0.5, 0.5), ratio=False, less="less", more="more")
    rows = [Row("first", -2.0, -1.0, 0.0, "-1"), Row("second", 0.0, 1.0, 2.0, "+1")]
    svg = intervals("two", rows, ground).wide
    bars = re.findall(r'd="M ([\d.]+) ([\d.]+) L ([\d.]+) [\d.]+ "[^>]*stroke-width="4"', svg)
    assert len(bars) == 2
    (left, above, middle), (same, below, right) = [tuple(map(float, bar)) for bar in bars]
    assert middle == same  # one ends at no difference, where the other begins
    assert middle - left == pytest.approx(right - same)
    assert above < below
