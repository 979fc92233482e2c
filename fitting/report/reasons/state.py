"""Sentences about the fit, and about taking in what is new since."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import plural, quoted


def _too_few_readings(season: str, readings: int, needed: int) -> str:
    return (
        f"Season {season!r} has {plural(readings, 'reading')}; a fit needs at least {needed}. Go "
        "on logging, best through a stretch of complete rest."
    )


def _no_posterior(file: str = "") -> str:
    where = f"{file}: this" if file else "This"
    return f"{where} season was not fitted yet; fit it first."


def _new_since_the_fit(labels: list[str]) -> str:
    return f"New since the fit: {quoted(labels)}; fit again to learn it."


SENTENCES: Final[Mapping[str, Sentence]] = {
    "too few readings": _too_few_readings,
    "no posterior": _no_posterior,
    "damaged posterior": "{file}: this fit is damaged, as it is not what was written; fit again.",
    "foreign posterior": "{file}: this is no fit that slackwater wrote; fit again.",
    "unreadable posterior": "{file}: cannot be read as a fit ({why}); fit again.",
    "divergences": "The fit got stuck {count} times in {draws} draws, so a part of what the "
    "readings allow may be missing.",
    "chains disagree": "The fit's runs disagree (by {rhat:.3f}; it should be 1.01 or less).",
    "few effective draws": "The draws are worth only {ess:.0f} independent ones (should be 400 or "
    "more).",
    "unusable fit": "No answer is given from such a fit; fit again with another seed or more "
    "draws, and check the season if that does not help.",
    "edited since the fit": "The season was edited in what had already been fitted (readings, "
    "sessions, types, interventions or stressors up to {last_night}); fit again.",
    "new since the fit": _new_since_the_fit,
    "another story since the fit": "The readings since the fit tell another story than the fit "
    "did ({pareto_k:.2f}; it should be 0.7 or less); fit again.",
    "type not shown yet": "{type!r} is new and no reading shows it yet: until one does, it counts "
    "as a session like any of the others.",
    "type known by the group alone": "{type!r} is new and no reading shows it yet: until one does, "
    "it counts as the group's sessions of that type do.",
    "left out of forecasts": "{label!r} is new and no reading shows it yet, so forecasts leave it "
    "out.",
    "readings left out": "Readings since the fit are left out ({count}); a new fit takes them in.",
}
