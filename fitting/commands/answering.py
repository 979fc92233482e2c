"""Commands that answer from the posterior."""

from __future__ import annotations

from pathlib import Path

import click

from slackwater.fitting.commands.completion import (
    complete_attribute,
    complete_dated_type,
    complete_intervention,
    complete_type,
)
from slackwater.fitting.commands.shared import answering, print_answer, standing_of


@click.command(short_help="Tell the days to recover, for each session type.")
@answering
def recovery(season: Path, as_json: bool, level: float) -> None:
    """Tell the days to recover, for each session type and its next session.

    \b
    Examples:
      slackwater recovery my-season
      slackwater recovery my-season --level 0.95
      slackwater recovery my-season --json
    """
    from slackwater.fitting.answers.recovery import recovery as ask

    print_answer(ask(standing_of(season), level), as_json, season=season)


@click.command(short_help="Tell where baseline lies, and whether rest has done its work.")
@answering
def baseline(season: Path, as_json: bool, level: float) -> None:
    """Tell where baseline lies, how much dip is left, and whether rest has done its work.

    \b
    Examples:
      slackwater baseline my-season
      slackwater baseline my-season --json
    """
    from slackwater.fitting.answers.baseline import baseline as ask

    print_answer(ask(standing_of(season), level), as_json)


@click.command()
@answering
@click.option("--nights", type=int, default=1, show_default=True, help="How many nights ahead.")
@click.option(
    "--session",
    "sessions",
    multiple=True,
    metavar="DATE:TYPE",
    shell_complete=complete_dated_type,
    help="A planned session; give it again for more. Rest if left out.",
)
def forecast(
    season: Path, as_json: bool, level: float, nights: int, sessions: tuple[str, ...]
) -> None:
    """Tell the coming readings, and the days until back at baseline.

    \b
    Examples:
      slackwater forecast my-season
      slackwater forecast my-season --nights 7 --session "2031-05-02:hill run"
    """
    from slackwater.fitting.answers.forecast import forecast as ask
    from slackwater.fitting.answers.forecast import parse_session

    now = standing_of(season)
    print_answer(ask(now, nights, [parse_session(now, s) for s in sessions], level), as_json)


@click.command(short_help="Compare recovery with and without a measure, or of two types.")
@answering
@click.option(
    "--intervention",
    metavar="NAME",
    help="Recovery with NAME over without it.",
    shell_complete=complete_intervention,
)
@click.option(
    "--types", nargs=2, metavar="A B", help="Two session types.", shell_complete=complete_type
)
@click.option(
    "--attribute",
    nargs=3,
    metavar="COLUMN A B",
    help="Two values in types.csv.",
    shell_complete=complete_attribute,
)
def compare(
    season: Path,
    as_json: bool,
    level: float,
    intervention: str | None,
    types: tuple[str, str] | None,
    attribute: tuple[str, str, str] | None,
) -> None:
    """Compare recovery with and without a measure, or two types or attribute values.

    \b
    Examples:
      slackwater compare my-season --intervention "river dip"
      slackwater compare my-season --types "hill run" "steady row"
      slackwater compare my-season --attribute mode lift row
    """
    from slackwater.fitting.answers import compare as ask
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.records.trials import read_trials

    if sum(option is not None for option in (intervention, types, attribute)) != 1:
        raise click.UsageError("Give one of --intervention, --types and --attribute.")
    if intervention is not None:  # before a fit is asked for that the trial does not need
        ask.refuse_on_trial(read_season(season), intervention, read_trials(season))
    now = standing_of(season)
    if intervention is not None:
        print_answer(ask.compare_intervention(now, intervention, level), as_json)
    elif types is not None:
        print_answer(ask.compare_types(now, *types, level), as_json)
    elif attribute is not None:
        print_answer(ask.compare_attribute(now, *attribute, level), as_json)
