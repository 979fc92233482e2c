"""RMSSD and how exactly it is known: published values, other libraries, and simulated nights."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from statsmodels.stats.stattools import durbin_watson

from slackwater.fitting.beats.artefacts import judge
from slackwater.fitting.beats.recording import Floats, Recording, from_intervals
from slackwater.fitting.beats.rmssd import FEWEST_PARTS, Rmssd, ln_standard_error, rmssd
from slackwater.model.errors import Reason
from tests.fitting.beats.nights import night, with_artefacts

READ_AS = Reason("read as intervals", unit="ms")


def whole(rr_ms: Floats, kept: bool = True) -> Rmssd:
    """Return the RMSSD of all intervals, or of those that the rule keeps."""
    recording = from_intervals(rr_ms, READ_AS)
    counting = np.ones(rr_ms.shape, bool) if kept else judge(recording).kept
    return rmssd(recording, counting, 0.0, recording.length_s)


def test_the_definition() -> None:
    """Task Force 1996, Circulation 93:1043-1065, Table 1, on four intervals by hand."""
    by_hand = np.sqrt((10**2 + 5**2 + 65**2) / 3)
    assert whole(np.array([800.0, 810, 815, 750])).rmssd_ms == pytest.approx(by_hand, rel=1e-14)
    assert by_hand == pytest.approx(38.0788655, abs=5e-8)


@pytest.mark.parametrize(
    ("name", "published"),
    [
        # PhysioNet nsrdb, 337 intervals; 910 intervals at rest; two days of 80,441 and 108,150
        # intervals. Digits on which biosppy 2.2.4 (hrv_timedomain, not detrended), allantools
        # 2024.6 (root 2 times the Allan deviation of one step) and numpy 2.4 agree.
        ("nsrdb_5min_337_ms", 101.30063401766),
        ("rest_rri_910_ms", 55.13744203126),
        ("healthy_000", 55.74909716675),
        ("healthy_003", 33.25060069569),
    ],
)
def test_published_recordings(
    open_data: Callable[[str], Path], name: str, published: float
) -> None:
    rr_ms = np.loadtxt(open_data(f"physionet_rr/{name}.txt"))
    found = whole(rr_ms).rmssd_ms
    assert found == pytest.approx(published, abs=2e-11)
    # Durbin and Watson's statistic is the sum of squared differences over that of squares.
    by_ratio = np.sqrt(durbin_watson(rr_ms) * (rr_ms @ rr_ms) / (len(rr_ms) - 1))
    assert found == pytest.approx(by_ratio, rel=1e-12)


def test_segments_put_together_are_the_whole() -> None:
    rr_ms = night(np.random.default_rng(1), hours=2.0)
    found = whole(rr_ms)
    assert len(found.segments) == 24
    assert found.rmssd_ms == pytest.approx(np.sqrt(np.mean(np.diff(rr_ms) ** 2)), rel=1e-13)
    by_segment = [s.differences * s.rmssd_ms**2 for s in found.segments]
    total = sum(s.differences for s in found.segments)
    assert np.sqrt(sum(by_segment) / total) == pytest.approx(found.rmssd_ms, rel=1e-13)
    assert sum(s.beats for s in found.segments) == len(rr_ms)
    assert [round(s.from_hours * 60) for s in found.segments] == list(range(0, 120, 5))


def test_a_segment_with_too_few_kept_is_left_out() -> None:
    rng = np.random.default_rng(2)
    rr_ms = night(rng, hours=1.0)
    spoilt = rr_ms.copy()
    spoilt[300:420:3] = 250
    found, clean = whole(spoilt, kept=False), whole(rr_ms, kept=False)
    assert [s.counts for s in found.segments].count(False) == 1
    assert found.rmssd_ms == pytest.approx(clean.rmssd_ms, rel=0.05)
    [left_out] = [s for s in found.segments if not s.counts]
    assert left_out.kept < 0.8 * left_out.beats
    assert found.counted.sum() == sum(s.kept for s in found.segments if s.counts)


def test_nothing_counts_where_nothing_is_kept() -> None:
    found = whole(np.full(400, 250.0), kept=False)
    assert np.isnan(found.rmssd_ms)
    assert np.isnan(found.ln_sd)
    assert not found.counted.any()


def test_the_standard_error_by_hand() -> None:
    """Independent parts: half the relative standard error of a mean."""
    sums = np.array([8.0, 10, 12, 10, 9, 11, 10, 10])
    counts = np.ones(8)
    by_hand = np.std(sums, ddof=1) / np.sqrt(8) / 10 / 2
    assert ln_standard_error(sums, counts) == pytest.approx(by_hand, rel=1e-12)  # no memory
    rising = np.sort(sums)
    assert ln_standard_error(rising, counts) > 1.5 * by_hand
    assert np.isnan(ln_standard_error(sums[:1], counts[:1]))


def test_simulated_nights_hold_what_the_standard_error_promises() -> None:
    """Whole nights: 8 in 10 within 1.28 of it, by the binomial bound of 60 nights (0.6 to 0.95).

    The negative control: parts taken for independent promise far too much.
    """
    rng = np.random.default_rng(5)
    truth = np.log(62.0)
    found, errors, naive = [], [], []
    for _ in range(60):
        rr_ms = night_about(rng)
        measured = whole(rr_ms)
        found.append(np.log(measured.rmssd_ms))
        errors.append(measured.ln_sd)
        squares = np.array([s.rmssd_ms**2 for s in measured.segments])
        naive.append(np.std(squares) / np.sqrt(len(squares)) / squares.mean() / 2)
    off = np.abs(np.array(found) - truth)
    assert 0.62 <= (off < 1.2816 * np.array(errors)).mean() <= 0.95
    assert (off < 1.2816 * np.array(naive)).mean() < 0.62


def night_about(rng: np.random.Generator) -> Floats:
    """Return a night whose expected squared difference is that of 62 ms, not its own."""
    decay = np.exp(-300 / 600)  # ten minutes, from segment to segment
    depth = np.empty(84)
    depth[0] = rng.standard_normal()
    for i in range(1, 84):
        depth[i] = decay * depth[i - 1] + np.sqrt(1 - decay**2) * rng.standard_normal()
    each = [
        1000 + 62.0 / np.sqrt(2) * np.exp(0.25 * z - 0.25**2) * rng.standard_normal(300)
        for z in depth
    ]
    return np.concatenate(each)


def test_a_few_segments_give_eight_parts() -> None:
    rr_ms = night(np.random.default_rng(7), hours=0.2)
    found = whole(rr_ms)
    assert len(found.segments) < FEWEST_PARTS
    assert 0.005 < found.ln_sd < 0.3


def test_artefacts_hardly_move_the_reading() -> None:
    rng = np.random.default_rng(3)
    rr_ms = night(rng, hours=4.0)
    spoilt = whole(with_artefacts(rr_ms, rng), kept=False)
    assert np.log(spoilt.rmssd_ms) == pytest.approx(np.log(whole(rr_ms).rmssd_ms), abs=0.02)
    raw = whole(with_artefacts(rr_ms, rng)).rmssd_ms
    assert raw > 1.3 * whole(rr_ms).rmssd_ms  # what no rule would read


@pytest.mark.parametrize(
    ("step_ms", "of_times", "added"),
    [
        # An interval in steps of q is off by q / sqrt(12): q^2 / 6 in a squared difference;
        # one between two times in such steps: three rounded times, (1 + 4 + 1) q^2 / 12.
        (1000 / 1024, False, 1 / 6),  # 0.3987 ms of noise in a difference
        (10.0, False, 1 / 6),
        (1000 / 360, True, 1 / 2),
    ],
)
def test_what_coarse_steps_add(step_ms: float, of_times: bool, added: float) -> None:
    rng = np.random.default_rng(11)
    rr_ms = 1000 + 20 * rng.standard_normal(200_000)
    coarse = (
        np.diff(steps(np.append(0, np.cumsum(rr_ms)), step_ms))
        if of_times
        else steps(rr_ms, step_ms)
    )
    gained = whole(coarse).rmssd_ms ** 2 - whole(rr_ms).rmssd_ms ** 2
    # The error of the gain is that of the mean of 2 * difference * rounding, 28 ms * 0.4 q or so.
    assert gained == pytest.approx(added * step_ms**2, abs=5 * 56 * step_ms / np.sqrt(2e5))


def steps(values: Floats, step: float) -> Floats:
    return np.asarray(np.round(values / step) * step)


def test_a_unit_of_1024ths_taken_for_ms_reads_too_high() -> None:
    rr_ms = night(np.random.default_rng(4), hours=1.0)
    assert whole(rr_ms * 1.024).rmssd_ms == pytest.approx(1.024 * whole(rr_ms).rmssd_ms, rel=1e-12)


def test_the_window_alone_counts() -> None:
    rr_ms = night(np.random.default_rng(9), hours=2.0)
    recording: Recording = from_intervals(rr_ms, READ_AS)
    part = recording.between(1800.0, 5400.0)
    kept = np.ones(part.rr_ms.shape, bool)
    found = rmssd(part, kept, 1800.0, 5400.0)
    inside = (recording.ends_s >= 1800) & (recording.ends_s <= 5400)
    assert found.rmssd_ms == pytest.approx(np.sqrt(np.mean(np.diff(rr_ms[inside]) ** 2)), rel=1e-13)
    assert found.segments[0].from_hours == 0.5
    assert len(found.segments) == 12
