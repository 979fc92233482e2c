"""What a trial is judged by: fits that believe the same beforehand as the season's own."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING

from slackwater.fitting.state.athlete import Athlete

if TYPE_CHECKING:
    from slackwater.model.priors import Priors
    from slackwater.model.season import Season


def judging(
    priors: Priors | None, progress: Callable[[int, int], None] | None
) -> Callable[[Season], Athlete]:
    """Return what fits a season.

    Args:
        priors: what is believed beforehand, as the season's own fit believed it; the defaults
            where there is none.
        progress: called with the draws finished and the draws in all.
    """

    def learn(season: Season) -> Athlete:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # libraries' notices to developers
            from slackwater.fitting.sampling.fit import fit  # slow to import

            return Athlete(season, fit(season, priors=priors, progress=progress))

    return learn
