"""The command for baseline and recovery over the whole history."""

from __future__ import annotations

from pathlib import Path

import click

from slackwater.fitting.commands.shared import answering, print_answer


@click.command(short_help="Tell baseline over the years, and whether recovery changed.")
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
    from slackwater.fitting.intake.dates import parse_date
    from slackwater.fitting.sampling.posterior import Posterior

    day = None if since is None else parse_date(since)
    answer = ask(read_season(season), Posterior.load(season), day, level)
    print_answer(answer, as_json, season=season)
