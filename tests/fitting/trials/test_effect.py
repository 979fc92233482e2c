"""Days saved and rate ratios."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.trials import effect
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known


def test_days_saved_and_ratios_are_inverse() -> None:
    to_shorten = np.array([0.4, 1.0, 2.5, 6.0])
    log_ratio = effect.log_ratio_for(to_shorten, 0.5)
    assert np.isnan(log_ratio[0])
    assert np.exp(log_ratio[1:]) == pytest.approx([2.0, 1.25, 12 / 11])
    assert effect.days_saved(to_shorten[1:], log_ratio[1:]) == pytest.approx([0.5] * 3)
    assert effect.days_saved(np.array([3.0]), np.log([0.5])) == pytest.approx([-3.0])


def test_what_a_measure_can_shorten_is_all_but_the_first_day() -> None:
    # Half-lives of 2 days and 1 day, threshold 0.05: row falls 0.4 to 0.05 in 3 half-lives,
    # lift 0.2 to 0.05 in 2; a walk of 0.02 starts under it.
    types = {"row": (0.4, 2.0), "lift": (0.2, 1.0), "walk": (0.02, 1.0)}
    sessions = [(2 * k, kind) for k, kind in enumerate(list(types) * 2)]
    now = by_hand.athlete_of(by_hand.season(20, sessions), Known(types)).now
    assert effect.days_to_shorten(now)[0] == pytest.approx([6.0, 2.0, 0.0])
    assert typical_days(now)[0] == pytest.approx([7.0, 3.0, 1.0])
    assert effect.typical_session(now, {"row": 0.25, "lift": 0.75})[0] == pytest.approx(3.0)
