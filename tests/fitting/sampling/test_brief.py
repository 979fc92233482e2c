"""A posterior learnt briefly, against that of a whole fit."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting.sampling import brief
from slackwater.fitting.sampling.brief import fit_briefly
from slackwater.fitting.sampling.posterior import FitChecks, Posterior
from slackwater.model import names as n
from slackwater.model.priors import Priors
from tests.fitting.conftest import Fitted


@pytest.fixture(scope="module")
def learnt(demo: Fitted) -> Posterior:
    return fit_briefly(demo.season, priors=Priors(), seed=1)


@pytest.mark.parametrize("name", [n.LOG_RATE_RATIO, n.LIFT, n.TYPE_LOG_RATE, n.NOISE_SD])
def test_it_agrees_with_the_fit(demo: Fitted, learnt: Posterior, name: str) -> None:
    whole, few = (p.draws[name].values for p in (demo.posterior, learnt))
    sd = whole.std(axis=0)
    # Hyperparameters mix slowly: of 320 draws 100 count, at the worst.
    assert np.abs((few.mean(axis=0) - whole.mean(axis=0)) / sd).max() < 4 / 100**0.5
    assert np.abs(np.log(few.std(axis=0) / sd)).max() < 4 / 200**0.5


def test_it_can_be_asked_as_a_fit_can(demo: Fitted, learnt: Posterior) -> None:
    assert learnt.checks.usable
    assert learnt.fingerprint == demo.posterior.fingerprint
    assert dict(learnt.last.sizes) == {**demo.posterior.last.sizes, "sample": learnt.checks.draws}
    groups = learnt.last["rate"].mean("sample"), demo.posterior.last["rate"].mean("sample")
    np.testing.assert_allclose(*groups, rtol=0.3)


def test_where_chains_do_not_agree_it_is_a_whole_fit(
    demo: Fitted, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[int] = []

    def torn(posterior: object) -> FitChecks:
        drawn.append(posterior.sizes[n.DRAW])  # type: ignore[attr-defined]
        return FitChecks(0, 320, 1.3, 300, 300)

    monkeypatch.setattr(brief, "_check", torn)
    monkeypatch.setattr(brief, "fit", lambda *_, **__: demo.posterior)
    assert fit_briefly(demo.season, priors=Priors(), seed=1) is demo.posterior
    assert drawn == [brief.DRAWS * rounds for rounds in range(brief.LEAST, brief.MOST + 1)]
