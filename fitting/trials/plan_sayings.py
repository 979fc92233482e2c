"""What is said about a trial's plan: what to mind, and why none is made."""

from __future__ import annotations

import numpy as np
import xarray as xr

from slackwater.fitting.answers.support import confounded_types
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.trials.sizes import LARGEST
from slackwater.fitting.trials.stretches import logged_days
from slackwater.model.errors import NoAnswerError


def refuse_too_large(smallest: float, to_shorten: np.ndarray, effects: np.ndarray) -> None:
    """Raise NoAnswerError where a typical session leaves less than a measure is to save.

    Args:
        smallest: what it is to save, days.
        to_shorten: what a typical session leaves, by draw, shape (S,).
        effects: the log rate ratio that saves so much, NaN where none does, shape (S,).
    """
    if np.isfinite(effects).mean() < 0.5:
        raise NoAnswerError(
            f"A typical session leaves {np.median(to_shorten):.1f} days of recovery after its "
            f"first reading; no measure is likely to save {smallest:g} of them. Give a "
            "smaller --smallest."
        )


def refuse_too_long(answer: xr.Dataset) -> None:
    """Raise NoAnswerError where no trial of a sensible size would do."""
    if answer.attrs["planned"] is not None:
        return
    days = float(answer["smallest_found"])
    found = "No effect that is possible would be found with the chance asked for; "
    if np.isfinite(days):
        found = (
            f"They find an effect of {days:.1f} days with the chance asked for: slackwater trial "
            f'plan SEASON_FOLDER --measure "{answer.attrs["measure"]}" --smallest {days:.1f} '
            "plans for that. Or "
        )
    raise NoAnswerError(
        f"Nothing is registered: even {LARGEST} sessions per arm "
        f"({float(answer['planned_weeks']):.0f} weeks) show an effect of "
        f"{answer.attrs['smallest']:g} days with a chance of "
        f"{100 * float(answer['expected_chance'].sel(bound='median')):.0f} % only. {found}"
        "accept a lower --chance, or set the number yourself with --sessions."
    )


def warnings_of(
    now: Standing,
    measure: str,
    smallest: float,
    effects: np.ndarray,
    types: dict[str, float],
    data: xr.Dataset,
) -> list[str]:
    """Return what to mind with a plan, a sentence each.

    Args:
        now: the state.
        measure: the measure under trial.
        smallest: the smallest effect worth having, days.
        effects: the log rate ratio that saves so much, NaN where none does, shape (S,).
        types: the trial's session types.
        data: the plan's numbers.
    """
    said = [why for label, why in confounded_types(now).items() if label in types]
    impossible = float(np.isnan(effects).mean())
    if impossible > 0.05:
        said.append(
            f"In {100 * impossible:.0f} % of what is possible after your readings, no measure "
            f"could save {smallest:g} days; the chances are about the rest."
        )
    earlier = len(logged_days(now.season, measure))
    if earlier:
        said.append(
            f"{measure!r} was used on {earlier} days already. They are why you try it, and "
            "are no evidence for it a second time: the trial will be judged by its own days alone."
        )
    largest = int(data["size"].max())
    if int(data["sessions_per_arm"]) > largest:
        said.append(
            f"Trials of up to {largest} sessions per arm were simulated; beyond, the chance is "
            "carried on by the curve."
        )
    expected = float((data["simulated"] * data["chance"]).sum())
    spread = float((data["simulated"] * data["chance"] * (1 - data["chance"])).sum()) ** 0.5
    seen = int(data["faster"].sum())
    if abs(seen - expected) > 2.6 * spread + 0.5:  # beyond what 99 in 100 plans show
        said.append(
            f"The curve expects {expected:.0f} verdicts of 'faster' where {seen} were seen, so "
            "take its chances as rough, and the counts as what there is."
        )
    return list(dict.fromkeys(said))
