"""Commands that learn: the demo, checking a season, fitting it."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from slackwater.fitting.commands.shared import (
    NO_ANSWER,
    WRONG_INPUT,
    folder_argument,
    guided,
    json_option,
    print_answer,
    print_next,
    progress_bar,
    step_object,
    wrapped,
)
from slackwater.fitting.demo import DEMO_FOLDER, DEMO_SQUAD, copy_demo, copy_demo_squad
from slackwater.fitting.mornings import POSTERIOR
from slackwater.fitting.questions import question
from slackwater.fitting.text import escaped

if TYPE_CHECKING:
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.model.priors import Priors

_SHOWN_OF_THE_DEMO: Final = (
    ("today", ()),
    ("recovery", ()),
    ("baseline", ()),
    ("forecast", (3,)),
    ("compare intervention", ("river dip",)),
    ("compare intervention", ("beet juice",)),
    ("compare attribute", ("mode", "lift", "row")),
)


@click.command(short_help="Run the whole job on an invented season.")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--squad", is_flag=True, help="An invented club of twelve instead of one athlete.")
def demo(folder: Path | None, squad: bool) -> None:
    """Copy an invented season into FOLDER, fit it, print the answers, write the report.

    \b
    Examples:
      slackwater demo
      slackwater demo spring
      slackwater demo --squad
    """
    if squad:
        _demo_squad(folder or Path(DEMO_SQUAD))
    else:
        _demo(folder or Path(DEMO_FOLDER))


def _demo_squad(folder: Path) -> None:
    from slackwater.fitting.commands.squad import run_all

    copy_demo_squad(folder)
    click.echo("The demo squad: an invented club of twelve who row, lift and run hills.")
    click.echo(f"Copied it to {escaped(str(folder))}.")
    run_all(folder)


def _demo(folder: Path) -> None:
    from slackwater.fitting.commands.report import write_report
    from slackwater.fitting.folder import SeasonFolder

    copy_demo(folder)
    click.echo("The demo season: a club rower who also lifts and runs hills.")
    click.echo(f"Copied it to {escaped(str(folder))}.")
    season = SeasonFolder(folder)
    _fit(season, seed=None, draws=1000, chains=4)
    for last, (name, given) in enumerate(_SHOWN_OF_THE_DEMO, start=1 - len(_SHOWN_OF_THE_DEMO)):
        row = question(name)
        click.echo()
        print_answer(row, row.ask(season, *given), season, as_json=False, caution=not last)
    path = write_report(season)
    click.echo(f"\nWrote every answer and its pictures into {escaped(str(path))}.")
    click.echo("To log, look and plan in a browser:")
    click.echo(f"  {escaped(f'slackwater open {shlex.quote(str(folder))}')}")


@click.command(short_help="Read and validate a season; name every problem.")
@folder_argument
@json_option
@click.option("--yes", is_flag=True, help="Say that all rows are right that look wrong.")
def check(season: Path, as_json: bool, yes: bool) -> None:
    """Read and validate a season; say what is understood and every problem.

    Rows that look wrong are told with a likely mend. With --yes they are written into
    confirmed.csv as right, and not asked about again.

    \b
    Examples:
      slackwater check my-season
      slackwater check my-season --json
      slackwater check my-season --yes
    """
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.journey.where import next_of, overtaken_plan
    from slackwater.fitting.report.reasons.doubts import confirmed
    from slackwater.fitting.report.season_check import check_as_json, check_as_text

    folder = SeasonFolder(season)
    if yes and folder.doubts:
        right = [confirmed(found.reason) for found in folder.doubts]
        folder.confirm()
        click.echo("\n".join(["Written into confirmed.csv as right:", *right]), err=True)
    found = folder.checked
    step, overtaken = next_of(folder, "check"), overtaken_plan(folder)
    known = (found, folder.doubts, folder.departures)
    if as_json:
        click.echo(check_as_json(*known, step_object(step, folder), overtaken))
    else:
        click.echo(wrapped(check_as_text(*known, overtaken)))
    for problem in found.problems:
        click.echo(str(problem), err=True)
    if not as_json:
        print_next(step, folder)
    if found.season is None:
        sys.exit(WRONG_INPUT)


@click.command(short_help="Learn from a season; writes posterior.nc into it.")
@folder_argument
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), help="Seed; follows from the season.")
@click.option("--draws", type=int, default=1000, show_default=True, help="Draws in each chain.")
@click.option("--chains", type=int, default=4, show_default=True, help="Number of chains.")
@click.option(
    "--population",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="What a group tells, as `squad fit` writes it: population.json.",
)
@guided
def fit(
    season: SeasonFolder, seed: int | None, draws: int, chains: int, population: Path | None
) -> None:
    """Learn from a season; writes what was learnt into it as posterior.nc.

    \b
    Examples:
      slackwater fit my-season
      slackwater fit my-season --seed 1
      slackwater fit my-season --population population.json
    """
    from slackwater.fitting.journey.where import next_of

    if population is None:
        _fit(season, seed, draws, chains)
    else:
        _fit_in_group(season, seed, draws, chains, population)
    print_next(next_of(season, "fit"), season)
    season.keep_in_mind()


def _fit_in_group(
    folder: SeasonFolder, seed: int | None, draws: int, chains: int, file: Path
) -> None:
    """Fit with what a group tells, and say how much of the answer is the athlete's own."""
    from slackwater.fitting.pooling.population_file import read_population
    from slackwater.fitting.report.squads.fitted import own_parts as told
    from slackwater.fitting.squads.own import own_parts

    population = read_population(file)
    _fit(folder, seed, draws, chains, priors=population.priors())
    click.echo(f"With what a group of {population.athletes} athletes tells, days to recover:")
    for line in told(own_parts(folder, population)):
        click.echo(wrapped(f"  {line}"))


def _fit(folder: SeasonFolder, seed: int | None, draws: int, chains: int, **how: Priors) -> None:
    from slackwater.fitting.report.reasons import sentence

    observed = folder.season.observed()
    with progress_bar("sampling") as progress:
        posterior = folder.fit(seed=seed, draws=draws, chains=chains, progress=progress, **how)
    click.echo(
        f"Fitted {int(observed.read.sum())} readings and {len(observed.session_nights())} sessions "
        f"up to {posterior.last_night}."
    )
    click.echo(f"Wrote {escaped(str(folder.path / POSTERIOR))}.")
    for said in [*(found.reason for found in folder.doubts), *posterior.checks.complaints]:
        click.echo(sentence(said), err=True)
    if not posterior.checks.usable:
        click.echo("No answer will be given from this fit; see above.", err=True)
        sys.exit(NO_ANSWER)
