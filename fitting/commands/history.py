"""The command for baseline and recovery over the whole history."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from slackwater.fitting.commands.shared import answering, print_answer
from slackwater.model.errors import QuestionError

if TYPE_CHECKING:
    import numpy as np


@click.command()
@answering
@click.option("--from", "since", metavar="DATE", help="The day from which a habit was kept.")
def history(season: Path, as_json: bool, level: float, since: str | None) -> None:
    """Tell baseline by quarter, sensor steps, and whether recovery changed.

    With --from, compare baseline since that day with the same length before.

    \b
    Examples:
      slackwater history my-season
      slackwater history my-season --from 2031-05-02
    """
    from slackwater.fitting.answers.history import history as ask
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.sampling.posterior import Posterior

    day = None if since is None else _day(since)
    print_answer(ask(read_season(season), Posterior.load(season), day, level), as_json)


def _day(text: str) -> np.datetime64:
    import numpy as np

    try:
        day = datetime.date.fromisoformat(text.strip())
    except ValueError:
        day = None
    # fromisoformat also reads 20310502 and week dates, which the season's files do not.
    if day is None or str(day) != text.strip():
        raise QuestionError(f"{text!r} is no date; write it as YYYY-MM-DD, such as 2031-05-02.")
    return np.datetime64(day)
