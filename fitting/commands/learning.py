"""Commands that learn: the demo, checking a season, fitting it."""

from __future__ import annotations

import sys
import warnings
from pathlib import Path
from typing import Final

import click

from slackwater.fitting.commands.shared import (
    guided,
    json_option,
    print_answer,
    print_next,
    progress_bar,
    season_argument,
    standing_of,
)

NO_ANSWER: Final = 1
WRONG_INPUT: Final = 2
DEMO_FOLDER: Final = "slackwater-demo"


@click.command(short_help="Run the whole job on an invented season.")
@click.argument("folder", type=click.Path(path_type=Path), default=DEMO_FOLDER)
def demo(folder: Path) -> None:
    """Copy an invented season into FOLDER, fit it, print the answers, write the report.

    \b
    Examples:
      slackwater demo
      slackwater demo spring
    """
    from slackwater.fitting.demo import copy_demo

    copy_demo(folder)
    click.echo("The demo season: a club rower who also lifts and runs hills.")
    click.echo(f"Copied it to {folder}.")
    _fit(folder, seed=None, draws=1000, chains=4)
    now = standing_of(folder)
    from slackwater.fitting.answers.baseline import baseline as ask_baseline
    from slackwater.fitting.answers.compare import compare_attribute, compare_intervention
    from slackwater.fitting.answers.forecast import forecast as ask_forecast
    from slackwater.fitting.answers.recovery import recovery as ask_recovery

    answers = [
        ask_recovery(now),
        ask_baseline(now),
        ask_forecast(now, nights=3),
        *(compare_intervention(now, name) for name in now.season.interventions),
        compare_attribute(now, "mode", "lift", "row"),
    ]
    for answer in answers:
        click.echo()
        print_answer(answer, as_json=False, caution=answer is answers[-1])
    from slackwater.fitting.commands.report import write_report

    click.echo(f"\nWrote every answer and its pictures into {write_report(folder)}.")


@click.command(short_help="Read and validate a season; name every problem.")
@season_argument
@json_option
def check(season: Path, as_json: bool) -> None:
    """Read and validate a season; say what is understood and every problem.

    \b
    Examples:
      slackwater check my-season
      slackwater check my-season --json
    """
    from slackwater.fitting.intake import check_season
    from slackwater.fitting.journey.where import next_of
    from slackwater.fitting.report.terminal.season_check import check_as_json, check_as_text

    found = check_season(season)
    step = next_of(season, "check", found)
    if as_json:
        click.echo(check_as_json(found, step))
    else:
        from rich.console import Console
        from rich.text import Text

        Console(highlight=False).print(Text(check_as_text(found)))
    for problem in found.problems:
        click.echo(str(problem), err=True)
    if not as_json:
        print_next(step)
    if found.season is None:
        sys.exit(WRONG_INPUT)


@click.command(short_help="Learn from a season; writes posterior.nc into it.")
@season_argument
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), help="Seed; follows from the season.")
@click.option("--draws", type=int, default=1000, show_default=True, help="Draws in each chain.")
@click.option("--chains", type=int, default=4, show_default=True, help="Number of chains.")
@guided
def fit(season: Path, seed: int | None, draws: int, chains: int) -> None:
    """Learn from a season; writes the posterior into it as posterior.nc.

    \b
    Examples:
      slackwater fit my-season
      slackwater fit my-season --seed 1
      slackwater fit my-season --draws 2000 --chains 4
    """
    from slackwater.fitting.journey.where import next_of

    _fit(season, seed, draws, chains)
    print_next(next_of(season, "fit"))


def _fit(folder: Path, seed: int | None, draws: int, chains: int) -> None:
    from slackwater.fitting.intake import read_season

    season = read_season(folder)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # libraries' notices to developers
        from slackwater.fitting.sampling.fit import fit as sample

        with progress_bar("sampling") as progress:
            posterior = sample(season, seed=seed, draws=draws, chains=chains, progress=progress)
    path = posterior.save(folder)
    observed = season.observed()
    click.echo(
        f"Fitted {int(observed.read.sum())} readings and {len(observed.session_nights())} sessions "
        f"up to {posterior.last_night}."
    )
    click.echo(f"Wrote {path}.")
    for complaint in posterior.checks.complaints:
        click.echo(complaint, err=True)
    if not posterior.checks.usable:
        click.echo("No answer will be given from this fit; see above.", err=True)
        sys.exit(NO_ANSWER)
