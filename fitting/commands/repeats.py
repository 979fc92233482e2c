"""The command for repeats of the same session type."""

from __future__ import annotations

from pathlib import Path

import click

from slackwater.fitting.commands.completion import complete_type
from slackwater.fitting.commands.shared import answering, print_answer


@click.command(short_help="Tell how far repeats agree, and how many more are needed.")
@answering
@click.option(
    "--type",
    "session_type",
    metavar="NAME",
    help="This session type alone.",
    shell_complete=complete_type,
)
def repeats(season: Path, as_json: bool, level: float, session_type: str | None) -> None:
    """Tell each session's own recovery, and how many more would settle its type's.

    \b
    Examples:
      slackwater repeats my-season
      slackwater repeats my-season --type "hill run"
    """
    from slackwater.fitting.answers.repeats import repeats as ask
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.sampling.posterior import Posterior
    from slackwater.fitting.state.standing import standing

    read = read_season(season)
    posterior = Posterior.load(season)
    now = standing(read, posterior)
    print_answer(ask(now, posterior, session_type, level), as_json, season=season)
