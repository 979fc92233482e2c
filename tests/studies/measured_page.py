"""The words of docs/calibration/measured.md around its tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from tests.studies.coverage import table
from tests.studies.scores import PEERS, VERDICTS

Rows = list[dict[str, Any]]
RANGES = {
    "kind": "kind of season",
    "seasons": "seasons",
    "typical": "typical days",
    "bias_days": "bias, days",
    "bias_foretold": "bias, as foretold",
    "width_days": "width, days",
    "next": "next session",
    "baseline": "baseline",
    "night_1": "reading, 1 night",
    "night_7": "reading, 7 nights",
    "nights_1_to_7": "readings, 1 to 7 nights",
}
APART = {
    "kind": "kind of season",
    "types_over_a_day": "types of more than a day",
    "types_of_one_day": "types of exactly one day",
    "typical_one_day": "typical days, of these",
    "typical_all": "typical days, all",
    "next_all": "next session, all",
    "typical_foretold": "typical days, as foretold",
    "next_foretold": "next session, as foretold",
    "noise_error": "error of night-to-night SD, as a share",
    "refused": "seasons without an answer",
}
SCORES = {
    "kind": "kind of season",
    "nights_ahead": "nights ahead",
    "held": "80 % ranges held",
    "slackwater": "CRPS of slackwater",
    **{name: name for name in PEERS},
    "new_fits_asked_for": "new fits asked for",
}
TOLD = {"name": "of the logarithm of", "median": "median", "from": "from", "to": "to"}
MADE = {
    "kind": "kind",
    "sessions_per_arm": "sessions per arm",
    "seasons": "seasons",
    **{name: name for name in VERDICTS},
    "covered": "rate ratio covered",
    "width": "width",
}


def page(
    command: str, coverage: Rows, drops: Rows, scores: Rows, verdicts: Rows, ranks: Rows, facts: Any
) -> str:
    """Return the page.

    Args:
        command: what wrote it.
        coverage: a row for each kind without a drop.
        drops: the same for those with one.
        scores: a row for each kind and horizon.
        verdicts: a row for each kind and length.
        ranks: a row for each length of drawn seasons: `nights`, `seasons`, `again`,
            `quantities`, `told` (values by name), `outside` (names, `each` and `all`),
            `picture`.
        facts: about the fits, from `fit_facts`.
    """
    return f"""# Measured

Written by `{command}`. [What it means](README.md).

## Seasons, and what is counted

The seasons come from a generator that shares no code with slackwater \
(`tests/studies/generator.py`; the kinds are in `kinds.py`). Each athlete's scatter from \
session to session, drift, noise tails and start are drawn from ranges wider than the model's \
own priors. One seed is one athlete, with one log and one sequence of luck, in all of the kinds \
from *noise autocorrelation* on. The noise of 68 nights in 100 is no larger than an ordinary \
night's SD, whatever the noise's law.

Shares are of 80 % ranges that held the truth; the aim is 0.80. In brackets: the range of the \
share or mean, at 95 %, if other seasons had been drawn (bootstrap, the season as the unit; exact \
where a season is one try or all end alike). \
Bias is the mean of median minus truth. Nothing recovers in less than a day, and a range that \
reaches down to one day holds a truth of exactly one day by itself: such truths are counted apart. \
What is left is then held less often than 0.80 even by a perfect forecaster, where one day is \
likely, and a middle lies below the mean of what is skewed: *as foretold* is the share, and the \
bias, that the draws themselves expect. *All* counts every \
truth, a tie at one day by the share of it that lies in the middle 80 %: 0.80 is right there, \
however many are tied.

## Coverage of 80 % ranges

The readings are those of seven nights of rest \
after the season.

{table(coverage, RANGES)}

![Coverage by kind of season](coverage.png)

{table(coverage, APART)}

{_drops(drops)}{_forecasts(scores)}{_verdicts(verdicts)}## Ranks of the truth

{chr(10).join(map(_ranks, ranks))}
## Fits and new mornings

- Fits of the studies keep 1,000 draws, a quarter of the usual (`tests.studies.settings` says \
what that costs). {facts["clean"]} of {facts["fits"]} had no divergence; {facts["usable"]} were \
good enough to answer from. Lowest effective sample size, median: {facts["ess"]:.0f}.
{_caught_up(facts)}"""


def _drops(drops: Rows) -> str:
    if not drops:
        return ""
    return f"""## Drops that nobody logged

Every reading falls suddenly and stays down. *At \
the end*: it has lasted so long on the season's last night, and begins to pass within as long \
again. The true baseline is the one that readings return to; where the level is new, the new \
one. How soon a drop is told: [flags](flags.md).

{table(drops, RANGES)}

"""


def _forecasts(scores: Rows) -> str:
    if not scores:
        return ""
    return f"""## Forecasts against peers

From every second morning of the last 8 weeks of {scores[0]["seasons"]} seasons of each kind, \
knowing the log but no later reading. Mean CRPS over the oracle's, which knows every parameter, \
every dip and the law of the noise, and lacks only the baseline and the luck to come; lower is \
better, 1 is the best possible.

{table(scores, SCORES)}

![CRPS by kind of season](scores.png)

"""


def _verdicts(verdicts: Rows) -> str:
    if not verdicts:
        return ""
    return f"""## Verdicts on a measure

Seasons of 12, 24 and 36 weeks with the measure used in half of the weeks, drawn at random.

{table(verdicts, MADE)}

"""


def _caught_up(facts: Any) -> str:
    if not facts["catch_ups"]:
        return ""
    return f"""- Answers after 7 new mornings without a new fit, against a new fit: medians \
{facts["apart_mean"]:.3f} posterior standard deviations apart in the mean, \
{facts["apart_most"]:.3f} at the 95th percentile, in at most {facts["catch_up_seconds"]:.2f} s; a \
new fit was asked for in {facts["catch_up_refused"]} of {facts["catch_ups"]} seasons.
"""


def _ranks(row: dict[str, Any]) -> str:
    each, together = row["outside"]["each"], row["outside"]["all"]
    return f"""{row["seasons"]} seasons of {row["nights"]} nights drawn from the priors (Talts \
et al. 2018). Of {row["quantities"]} quantities, {len(each)} leave their own simultaneous 95 % \
band (Säilynoja, Bürkner & Vehtari 2022), where {0.05 * row["quantities"]:.1f} are expected of \
a perfect sampler: {", ".join(each) or "none"}. Outside the band that holds for all quantities \
together: {", ".join(together) or "none"}. {row["again"]} seasons were fitted again, since \
slackwater would not have answered from the first fit.

![Ranks: difference of the empirical distribution from the uniform]({row["picture"]})

What these readings tell of how nights are: the posterior's standard deviation over the prior's \
(1: nothing is learnt), and, of pairs, the correlation over the posterior (beyond 0.5: hardly \
kept apart). Medians over the seasons, and the middle 80 % of them.

{table([_told(name, values) for name, values in row["told"].items()], TOLD)}
"""


def _told(name: str, values: Sequence[float]) -> dict[str, Any]:
    low, median, high = np.quantile(values, [0.1, 0.5, 0.9])
    return {"name": name, "median": float(median), "from": float(low), "to": float(high)}
