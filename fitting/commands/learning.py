"""Commands that learn: the demo, checking a season, fitting it."""

from __future__ import annotations

import sys
import warnings
from pathlib import Path
from typing import Final

import click

from slackwater.fitting.commands.shared import (
    json_option,
    print_answer,
    progress_bar,
    season_argument,
    standing_of,
)

NO_ANSWER: Final = 1
WRONG_INPUT: Final = 2
DEMO_FOLDER: Final = "slackwater-demo"


@click.command()
@click.argument("folder", type=click.Path(path_type=Path), default=DEMO_FOLDER)
def demo(folder: Path) -> None:
    """Copy an invented season into FOLDER, fit it and print every answer."""
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


@click.command()
@season_argument
@json_option
def check(season: Path, as_json: bool) -> None:
    """Read and validate a season; say what is understood and every problem."""
    from slackwater.fitting.intake import check_season
    from slackwater.fitting.report.season_check import check_as_json, check_as_text

    found = check_season(season)
    if as_json:
        click.echo(check_as_json(found))
    else:
        from rich.console import Console
        from rich.text import Text

        Console(highlight=False).print(Text(check_as_text(found)))
    if found.season is None:
        for problem in found.problems:
            click.echo(str(problem), err=True)
        sys.exit(WRONG_INPUT)


@click.command()
@season_argument
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), help="Seed; follows from the season.")
@click.option("--draws", type=int, default=1000, show_default=True, help="Draws in each chain.")
@click.option("--chains", type=int, default=4, show_default=True, help="Number of chains.")
def fit(season: Path, seed: int | None, draws: int, chains: int) -> None:
    """Learn from a season; writes the posterior into it as posterior.nc."""
    _fit(season, seed, draws, chains)


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
