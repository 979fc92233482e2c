"""The rule, on rows whose every decision is known, and on a recording whose beats are labelled."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting.beats.artefacts import differences, judge
from slackwater.fitting.beats.recording import Recording, from_beats, from_intervals
from slackwater.model.errors import Reason

READ_AS = Reason("read as intervals", unit="ms")


def row(*rr_ms: float) -> Recording:
    return from_intervals(np.array(rr_ms, float), READ_AS)


def rmssd_of(recording: Recording) -> float:
    found = differences(recording, judge(recording).kept)
    return float(np.sqrt(np.nanmean(found**2)))


@pytest.mark.parametrize(
    ("rr_ms", "kept"),
    [
        # Malik et al. 1989: more than 20 % of the interval before is taken out, just 20 % is not.
        ((1000, 1200, 1000), [1, 1, 1]),
        ((1000, 1201, 1000), [1, 0, 1]),
        ((1000, 800, 960), [1, 1, 1]),
        ((1000, 799, 800), [1, 0, 1]),
        # An early beat: it and the pause after it go, what follows stays, and no difference
        # between the pause and what follows is taken.
        ((1000, 700, 1200, 1000, 1010), [1, 0, 0, 1, 1]),
        # A missed beat: two intervals in one, and the one after it, which is compared with it.
        ((900, 1800, 900, 910), [1, 0, 0, 1]),
        ((299, 300, 310), [0, 1, 1]),
        ((1900, 2000, 2001, 1990), [1, 1, 0, 1]),
        ((0, 900, 910), [0, 0, 1]),
        ((-900, 900, 910), [0, 0, 1]),
    ],
)
def test_each_interval_is_judged_by_the_one_before_it(
    rr_ms: tuple[float, ...], kept: list[int]
) -> None:
    assert judge(row(*rr_ms)).kept.tolist() == [bool(k) for k in kept]


def test_seconds_are_judged_like_milliseconds() -> None:
    """1.1 s turned into ms is not quite 1,100, and 1,320 is just 20 % more."""
    assert judge(row(1.1 * 1000, 1.32 * 1000, 1.1 * 1000)).kept.all()


def test_differences_are_taken_between_kept_neighbours_alone() -> None:
    recording = row(1000, 1010, 700, 1200, 1000, 1015)
    found = differences(recording, judge(recording).kept)
    np.testing.assert_array_equal(found, [np.nan, 10, np.nan, np.nan, np.nan, 15])


def test_a_gap_breaks_the_chain() -> None:
    recording = row(1000, 1010, np.nan, 700, 705)
    assert recording.joined.tolist() == [False, True, False, True]
    assert judge(recording).kept.all()  # the first after a gap has none before it
    found = differences(recording, judge(recording).kept)
    np.testing.assert_array_equal(found, [np.nan, 10, np.nan, 5])


def test_what_was_taken_out_is_counted_once() -> None:
    times = np.array([0.0, 1.0, 2.0, 4.5, 5.5, 6.2, 7.2])
    sinus = np.array([True, True, True, True, False, True, True])
    judged = judge(from_beats(times, READ_AS, None, sinus))
    assert judged.kept.tolist() == [True, True, False, False, False, False]
    assert judged.counts() == {"labelled": 2, "out_of_range": 1, "jump": 1}


class Labelled:
    """MIT-BIH arrhythmia database, record 100: 2,272 intervals and their beats' labels."""

    def __init__(self, path: Path) -> None:
        rr_ms, normal = np.loadtxt(path, delimiter=",").T
        beats = np.append(True, normal == 1)
        self.whole = from_intervals(rr_ms, READ_AS)
        times = np.append(0.0, np.cumsum(rr_ms)) / 1000
        self.sinus = from_beats(times, READ_AS, None, beats)
        self.touches_other = ~(beats[1:] & beats[:-1])


def test_the_rule_against_the_labels_of_record_100(open_data: Callable[[str], Path]) -> None:
    """Moody and Mark 2001, IEEE Eng Med Biol 20:45-50 (PhysioNet mitdb): 33 A and 1 V among 2,273.

    All 68 intervals that touch such a beat: the rule alone takes out 66 of them, and 4 others.
    """
    record = Labelled(open_data("physionet_rr/mitdb100_rr_ms_symbol.csv"))
    assert len(record.whole.rr_ms) == 2272
    assert record.touches_other.sum() == 68
    out = ~judge(record.whole).kept
    assert out.sum() == 70
    assert (out & record.touches_other).sum() == 66
    # RMSSD without any rule, from the labels alone, and from the rule alone, ms.
    every = np.ones(2272, bool)
    raw = differences(record.whole, every)
    labels = differences(record.whole, ~record.touches_other)
    assert np.sqrt(np.nanmean(raw**2)) == pytest.approx(63.2318, abs=5e-5)
    assert np.sqrt(np.nanmean(labels**2)) == pytest.approx(27.4805, abs=5e-5)
    assert rmssd_of(record.whole) == pytest.approx(27.4805, rel=0.003)
    # With labels and rule together nothing is left in that the labels take out.
    assert not (judge(record.sinus).kept & record.touches_other).any()


def test_closing_the_gap_first_would_be_wrong(open_data: Callable[[str], Path]) -> None:
    """The negative control: intervals dropped, then differences, read 27.7911 ms."""
    record = Labelled(open_data("physionet_rr/mitdb100_rr_ms_symbol.csv"))
    closed = record.whole.rr_ms[~record.touches_other]
    assert np.sqrt(np.mean(np.diff(closed) ** 2)) == pytest.approx(27.7911, abs=5e-5)


@pytest.mark.parametrize(
    ("name", "raw", "ruled"),
    [("healthy_000", 55.749, 45.979), ("healthy_003", 33.251, 25.867)],
)
def test_what_the_rule_changes_on_open_days(
    open_data: Callable[[str], Path], name: str, raw: float, ruled: float
) -> None:
    """PhysioNet rr-interval-healthy-subjects; one that compares with kept ones reads 46.1, 25.9."""
    recording = row(*np.loadtxt(open_data(f"physionet_rr/{name}.txt")))
    assert np.sqrt(np.mean(np.diff(recording.rr_ms) ** 2)) == pytest.approx(raw, abs=5e-4)
    assert rmssd_of(recording) == pytest.approx(ruled, abs=5e-4)


def test_an_opening_gap_does_not_count(open_data: Callable[[str], Path]) -> None:
    """nsr2db starts with a gap of 225.8 s written as an interval; RMSSD with it would be 52 ms."""
    seconds = np.loadtxt(open_data("physionet_rr/nsr2db_nsr001.txt"))[:301]
    recording = row(*(1000 * seconds))
    assert judge(recording).kept.tolist()[:3] == [False, False, True]
    assert rmssd_of(recording) == pytest.approx(17.718731, abs=0.2)
