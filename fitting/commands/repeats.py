"""The command for repeats of the same session type."""

from __future__ import annotations

from pathlib import Path

import click

from slackwater.fitting.commands.shared import answering, print_answer


@click.command()
@answering
@click.option("--type", "session_type", metavar="NAME", help="This session type alone.")
def repeats(season: Path, as_json: bool, level: float, session_type: str | None) -> None:
    """Tell each session's own recovery, and how many more would settle its type's.

    \b
    Examples:
      slackwater repeats my-season
      slackwater repeats my-season --type "hill run"
    """
    from slackwater.fitting.answers.repeats import repeats as ask
    from slackwater.fitting.answers.standing import standing
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.sampling.posterior import Posterior

    posterior = Posterior.load(season)
    now = standing(read_season(season), posterior)
    print_answer(ask(now, posterior, session_type, level), as_json)
