"""The command for what a reading is made of."""

from __future__ import annotations

from pathlib import Path

import click

from slackwater.fitting.commands.shared import answering, print_answer


@click.command(short_help="Tell what a reading is made of.")
@answering
@click.option("--night", metavar="DATE", help="The date of its morning; that of the last reading.")
def explain(season: Path, as_json: bool, level: float, night: str | None) -> None:
    """Tell what a reading is made of: baseline, each session's dip left, noise.

    \b
    Examples:
      slackwater explain my-season
      slackwater explain my-season --night 2031-05-02
    """
    from slackwater.fitting.answers.explain import explain as ask
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.intake.dates import parse_date
    from slackwater.fitting.sampling.posterior import Posterior
    from slackwater.fitting.state.standing import standing

    day = None if night is None else parse_date(night)
    posterior = Posterior.load(season)
    now = standing(read_season(season), posterior)
    print_answer(ask(now, posterior, day, level), as_json)
