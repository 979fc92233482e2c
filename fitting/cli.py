"""The command line: parse, call, print. Heavy modules are imported where they are used."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from slackwater.model.errors import NoAnswerError, QuestionError, SlackwaterError

if TYPE_CHECKING:
    import xarray as xr

    from slackwater.fitting.answers.standing import Standing

NO_ANSWER: Final = 1
WRONG_INPUT: Final = 2
DEMO_FOLDER: Final = "slackwater-demo"

_season = click.argument("season", type=click.Path(path_type=Path), metavar="SEASON_FOLDER")
_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead.")
_level = click.option(
    "--level",
    type=float,
    default=0.8,
    show_default=True,
    help="Credible mass of every range, between 0 and 1.",
)


def _answering(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command what all that answer have in common."""
    return _season(_json(_level(command)))


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="slackwater")
def cli() -> None:
    """Learn from nightly RMSSD how long your training takes to recover from.

    A season is a folder of CSV files: readings.csv (date, rmssd_ms) and, where there are
    any, sessions.csv, types.csv, interventions.csv and stressors.csv.

    \b
    Start with:
      slackwater demo                    the whole job on an invented season
      slackwater check my-season         what is understood, and what is wrong
      slackwater fit my-season           learn from it; writes posterior.nc into it
      slackwater recovery my-season      days to recover, by session type
    """


@cli.command()
@click.argument("folder", type=click.Path(path_type=Path), default=DEMO_FOLDER)
def demo(folder: Path) -> None:
    """Copy an invented season into FOLDER, fit it and print every answer."""
    from slackwater.fitting.demo import copy_demo

    copy_demo(folder)
    click.echo(f"Copied the demo season to {folder}: a club rower who also lifts and runs hills.")
    _fit(folder, seed=None, draws=1000, chains=4)
    now = _standing(folder)
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
        _print(answer, as_json=False, caution=answer is answers[-1])


@cli.command()
@_season
@_json
def check(season: Path, as_json: bool) -> None:
    """Read and validate a season; say what is understood and every problem."""
    from slackwater.fitting.intake import check_season
    from slackwater.fitting.report.season_check import check_as_json, check_as_text

    found = check_season(season)
    click.echo(check_as_json(found) if as_json else check_as_text(found))
    if found.season is None:
        for problem in found.problems:
            click.echo(str(problem), err=True)
        sys.exit(WRONG_INPUT)


@cli.command()
@_season
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), help="Seed; follows from the season.")
@click.option("--draws", type=int, default=1000, show_default=True, help="Draws in each chain.")
@click.option("--chains", type=int, default=4, show_default=True, help="Number of chains.")
def fit(season: Path, seed: int | None, draws: int, chains: int) -> None:
    """Learn from a season; writes the posterior into it as posterior.nc."""
    _fit(season, seed, draws, chains)


@cli.command()
@_answering
def recovery(season: Path, as_json: bool, level: float) -> None:
    """Tell the days to recover, for each session type and its next session."""
    from slackwater.fitting.answers.recovery import recovery as ask

    _print(ask(_standing(season), level), as_json)


@cli.command()
@_answering
def baseline(season: Path, as_json: bool, level: float) -> None:
    """Tell where baseline lies, how much dip is left, and whether rest has done its work."""
    from slackwater.fitting.answers.baseline import baseline as ask

    _print(ask(_standing(season), level), as_json)


@cli.command()
@_answering
@click.option("--nights", type=int, default=1, show_default=True, help="How many nights ahead.")
@click.option(
    "--session",
    "sessions",
    multiple=True,
    metavar="DATE:TYPE",
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

    now = _standing(season)
    _print(ask(now, nights, [parse_session(now, s) for s in sessions], level), as_json)


@cli.command()
@_answering
@click.option("--intervention", metavar="NAME", help="Recovery with NAME over without it.")
@click.option("--types", nargs=2, metavar="A B", help="Two session types.")
@click.option("--attribute", nargs=3, metavar="COLUMN A B", help="Two values in types.csv.")
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

    if sum(option is not None for option in (intervention, types, attribute)) != 1:
        raise click.UsageError("Give one of --intervention, --types and --attribute.")
    now = _standing(season)
    if intervention is not None:
        _print(ask.compare_intervention(now, intervention, level), as_json)
    elif types is not None:
        _print(ask.compare_types(now, *types, level), as_json)
    elif attribute is not None:
        _print(ask.compare_attribute(now, *attribute, level), as_json)


def _fit(folder: Path, seed: int | None, draws: int, chains: int) -> None:
    from slackwater.fitting.intake import read_season

    season = read_season(folder)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # libraries' notices to developers
        from slackwater.fitting.sampling.fit import fit as sample

        with _progress_bar() as progress:
            posterior = sample(season, seed=seed, draws=draws, chains=chains, progress=progress)
    path = posterior.save(folder)
    observed = season.observed()
    click.echo(
        f"Fitted {int(observed.read.sum())} readings and {len(observed.session_nights())} sessions "
        f"up to {posterior.last_night}; wrote {path}."
    )
    for complaint in posterior.checks.complaints:
        click.echo(complaint, err=True)
    if not posterior.checks.usable:
        click.echo("No answer will be given from this fit; see above.", err=True)
        sys.exit(NO_ANSWER)


@contextmanager
def _progress_bar() -> Iterator[Callable[[int, int], None] | None]:
    """Show sampling progress on standard error, where that is a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("getting ready", total=None)

        def tell(done: int, total: int) -> None:
            bar.update(task, description="sampling", completed=done, total=total)

        yield tell


def _standing(folder: Path) -> Standing:
    from slackwater.fitting.answers.standing import standing
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.sampling.posterior import Posterior

    return standing(read_season(folder), Posterior.load(folder))


def _print(answer: xr.Dataset, as_json: bool, caution: bool = True) -> None:
    if as_json:
        from slackwater.fitting.report.as_json import as_json as render

        click.echo(render(answer))
    else:
        from rich.console import Console

        from slackwater.fitting.report.terminal import show

        show(Console(highlight=False), answer, caution=caution)


def main() -> None:
    """Run the command line and exit with its status."""
    try:
        cli.main(prog_name="slackwater")
    except NoAnswerError as error:
        _fail(str(error), NO_ANSWER)
    except (QuestionError, SlackwaterError) as error:
        _fail(str(error), WRONG_INPUT)
    except OSError as error:
        _fail(f"{error.filename or 'file'}: {error.strerror or error}", WRONG_INPUT)


def _fail(message: str, status: int) -> None:
    click.echo(message, err=True)
    sys.exit(status)
