from __future__ import annotations

import time
from pathlib import Path

from slackwater.fitting.demo import copy_demo
from slackwater.fitting.serving.work import FIT, Work, Works


def until_over(work: Work) -> Work:
    before = time.monotonic()
    while work.running or not (work.came or work.refused or work.stopped):
        assert time.monotonic() - before < 300  # a busy machine takes its time
        time.sleep(0.02)
    return work


def test_what_is_refused_is_told_in_words(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n2031-07-06,fifty\n")
    works = Works()
    work = works.start(tmp_path, FIT)
    assert works.on(tmp_path) is work
    assert "fifty" in until_over(work).refused
    assert not (tmp_path / "posterior.nc").exists()


def test_one_runs_at_a_time_and_can_be_stopped(tmp_path: Path) -> None:
    copy_demo(tmp_path)
    works = Works()
    work = works.start(tmp_path, FIT)
    assert works.start(tmp_path, FIT) is work
    works.stop(tmp_path)
    assert until_over(work).stopped
    assert not work.refused
    works.stop_all()
    assert not (tmp_path / "posterior.nc").exists()
