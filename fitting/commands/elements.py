"""The command for contrasts between all values of the types' attributes."""

from __future__ import annotations

from pathlib import Path

import click

from slackwater.fitting.commands.completion import complete_attribute
from slackwater.fitting.commands.shared import answering, print_answer, standing_of


@click.command()
@answering
@click.option(
    "--attribute",
    metavar="COLUMN",
    help="This column of types.csv alone.",
    shell_complete=complete_attribute,
)
def elements(season: Path, as_json: bool, level: float, attribute: str | None) -> None:
    """Compare every value of the types' attributes with every other.

    \b
    Examples:
      slackwater elements my-season
      slackwater elements my-season --attribute effort
    """
    from slackwater.fitting.answers.elements import elements as ask

    print_answer(ask(standing_of(season), attribute, level), as_json, season=season)
