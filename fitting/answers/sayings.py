"""What every answer carries beside its numbers, and the words for them."""

from __future__ import annotations

from typing import Any, Final

import xarray as xr

from slackwater.fitting.state.standing import Standing

SCHEMA: Final = 1
CAUTION: Final = (
    "This describes past readings and is no diagnosis. How you feel and licensed medical or "
    "coaching practice come first. Fever, chest pain, fainting or a long drop without a known "
    "cause mean rest and a physician, whatever the numbers say."
)


def answer(
    data: xr.Dataset, question: str, now: Standing, level: float, warnings: list[str], **facts: Any
) -> xr.Dataset:
    """Add to an answer's numbers what every answer carries, as attributes.

    Args:
        data: the numbers.
        question: the name of the question answered.
        now: the state that it was answered from.
        level: credible mass of every interval.
        warnings: what to mind with this answer, a sentence each.
        **facts: further attributes.
    """
    return data.assign_attrs(
        question=question,
        schema=SCHEMA,
        season=now.season.name,
        last_night=str(now.night),
        level=level,
        warnings=[*now.warnings, *warnings],
        **facts,
    )
