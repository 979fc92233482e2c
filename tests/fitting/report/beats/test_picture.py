"""The picture of a night: its file, and what it shows."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting.beats.merge import NightEntry, read_beats
from slackwater.fitting.beats.night import Measured
from slackwater.fitting.report.beats import picture
from slackwater.fitting.report.beats.picture import draw_night
from tests.fitting.beats.nights import night, with_artefacts, write_intervals

RNG = np.random.default_rng(0)


def measured(folder: Path, rr_ms: np.ndarray) -> tuple[NightEntry, Measured]:
    seen: list[Measured] = []
    path = write_intervals(folder / "2031-05-02.txt", rr_ms)
    answer = read_beats(None, path, seen=seen.append)
    return answer.nights[0], seen[0]


def test_each_form_is_what_it_says(tmp_path: Path) -> None:
    found = measured(tmp_path, night(RNG, hours=0.5))
    assert draw_night(*found, "png").startswith(b"\x89PNG")
    svg = draw_night(*found, "svg")
    assert b"<svg" in svg[:1000]
    assert draw_night(*found, "svg") == svg  # no date in it


def test_what_was_taken_out_is_marked_beat_by_beat(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    entry, beats = measured(tmp_path, with_artefacts(night(RNG, hours=0.5), RNG, 60))
    drawn = picture._figure(entry, beats)
    kept, out = drawn.axes[0].lines
    assert (kept.get_label(), out.get_label()) == ("kept", "taken out")
    assert len(np.asarray(kept.get_xdata())) == beats.counted.sum()
    assert len(np.asarray(out.get_xdata())) == (~beats.counted).sum() > 0
    low, high = drawn.axes[0].get_ylim()
    assert np.asarray(out.get_ydata()).min() >= low
    assert np.asarray(out.get_ydata()).max() <= high
    of_segments = [np.asarray(line.get_ydata()) for line in drawn.axes[1].lines[1:]]
    assert sum(map(len, of_segments)) == len(entry.segments)


def test_a_whole_night_is_no_file_of_megabytes(tmp_path: Path) -> None:
    svg = draw_night(*measured(tmp_path, night(RNG, hours=7)), "svg")
    assert len(svg) < 500_000
    assert re.search(rb"<image", svg)
