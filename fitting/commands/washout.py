"""The command for a stretch of complete rest."""

from __future__ import annotations

from pathlib import Path

import click

from slackwater.fitting.commands.shared import answering, print_answer, standing_of


@click.command(short_help="Tell how much more rest leads to baseline.")
@answering
@click.option(
    "--days", type=int, default=7, show_default=True, help="How many coming days of rest to show."
)
def washout(season: Path, as_json: bool, level: float, days: int) -> None:
    """Tell how much more rest leads to baseline, how rest has gone, and what would spoil it.

    Works before the first fit too, from general experience.

    \b
    Examples:
      slackwater washout my-season
      slackwater washout my-season --days 14
    """
    from slackwater.fitting.answers import washout as ask
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.sampling.posterior import FILE_NAME

    if (season / FILE_NAME).exists():
        answer = ask.washout(standing_of(season), days, level)
    else:
        answer = ask.washout_before_fit(read_season(season), days=days, level=level)
    print_answer(answer, as_json, season=season)
