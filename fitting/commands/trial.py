"""The commands for trials: one recovery measure at a time."""

from __future__ import annotations

import datetime as dt
import secrets
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from slackwater.fitting.commands.completion import complete_intervention
from slackwater.fitting.commands.shared import (
    answering,
    print_answer,
    print_next,
    progress_bar,
    season_argument,
    standing_of,
)
from slackwater.model.errors import NoAnswerError, SeasonError

if TYPE_CHECKING:
    from slackwater.fitting.state.standing import Standing
    from slackwater.model.season import Season


@click.group()
def trial() -> None:
    """Find out whether one recovery measure works, by drawing lots.

    \b
    In this order:
      slackwater trial plan my-season --measure "ice bath"
      slackwater trial today my-season       each day: use it, or leave it
      slackwater trial analyse my-season     when the planned number is reached
      slackwater trial ledger my-season      everything that was ever tested
    """


@trial.command(short_help="Plan a trial of one measure and register it.")
@answering
@click.option(
    "--measure",
    required=True,
    metavar="NAME",
    help="As logged in interventions.csv.",
    shell_complete=complete_intervention,
)
@click.option(
    "--smallest",
    type=float,
    metavar="DAYS",
    help="Smallest effect worth having, in days saved for a typical session; what 24 sessions "
    "per arm can find if left out.",
)
@click.option(
    "--chance",
    type=float,
    default=0.8,
    show_default=True,
    help="Wanted chance of the verdict 'faster' if that effect is true.",
)
@click.option("--sessions", type=int, help="Sessions per arm; found by simulation if left out.")
@click.option("--start", metavar="DATE", help="First day; the day after the last reading.")
@click.option(
    "--seed", type=click.IntRange(0, 2**32 - 1), help="Seed of the lots; drawn if left out."
)
@click.option("--draft", is_flag=True, help="Show the plan and register nothing.")
def plan(season: Path, as_json: bool, level: float, draft: bool, **options: Any) -> None:
    """Plan a trial of one measure and register it in the season's trials.json.

    Simulates 40 whole trials and fits each: about two minutes on two free cores.

    \b
    Examples:
      slackwater trial plan my-season --measure "ice bath" --smallest 1
      slackwater trial plan my-season --measure "ice bath" --sessions 12 --draft
    """
    from slackwater.fitting.intake.dates import parse_date
    from slackwater.fitting.records.trials import append, read_trials
    from slackwater.fitting.trials import plan as ask
    from slackwater.fitting.trials.plan_sayings import refuse_too_long
    from slackwater.fitting.trials.rehearsal import rehearse_all

    trials = read_trials(season)
    seed = secrets.randbelow(2**32) if options["seed"] is None else options["seed"]
    wanted = ask.Wanted(
        measure=options["measure"],
        seed=seed,
        smallest=options["smallest"],
        chance=options["chance"],
        sessions=options["sessions"],
        start=None if options["start"] is None else parse_date(options["start"]),
    )
    now = standing_of(season)
    with progress_bar("simulating whole trials") as progress:
        answer = ask.plan_trial(
            now, wanted, trials, level, lambda tasks: rehearse_all(tasks, progress)
        )
    if answer.attrs["planned"] and not draft:
        path = append(season, ask.to_record(answer, trials, _now()))
        click.echo(f"Registered in {path}.", err=True)
    print_answer(answer, as_json, season=season)
    if not draft:
        refuse_too_long(answer)


@trial.command()
@answering
@click.option("--date", metavar="DATE", help="The day asked about; the last reading's.")
def today(season: Path, as_json: bool, level: float, date: str | None) -> None:
    """Tell whether to use the measure today, and until when.

    Log the day's session first: its arm is told afterwards.

    \b
    Examples:
      slackwater trial today my-season
      slackwater trial today my-season --date 2031-05-02
    """
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.intake.dates import parse_date
    from slackwater.fitting.records.trials import open_trial, read_trials
    from slackwater.fitting.trials.today import trial_today as ask

    day = None if date is None else parse_date(date)
    found = open_trial(read_trials(season))
    print_answer(ask(read_season(season), found, day, level), as_json, season=season)


@trial.command(short_help="Judge a trial, by the rule fixed in its plan.")
@answering
@click.option("--peek", is_flag=True, help="Look before the planned number; kept in the record.")
@click.option("--report-items", is_flag=True, help="What a report of the trial should say.")
def analyse(season: Path, as_json: bool, level: float, peek: bool, report_items: bool) -> None:
    """Judge a trial, by the rule fixed in its plan, and keep the result in the record.

    \b
    Examples:
      slackwater trial analyse my-season
      slackwater trial analyse my-season --peek
      slackwater trial analyse my-season --report-items
    """
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.records.trials import append, read_trials
    from slackwater.fitting.trials import analyse as ask
    from slackwater.fitting.trials.items import report_items as ask_items

    found = ask.latest_trial(read_trials(season))
    read = read_season(season)
    if report_items:
        print_answer(ask_items(read, found, level), as_json, season=season)
        return
    ask.due(read, found, peek=peek)  # refuse before anything is sampled
    with progress_bar("sampling") as progress:
        answer = ask.analyse_trial(read, found, _fit(progress), peek=peek, level=level)
    if not answer.attrs["complete"] or found.analysed is None:
        append(season, ask.to_record(answer, _now()))
    print_answer(answer, as_json, season=season)


@trial.command(short_help="Show everything that was ever tested.")
@answering
def ledger(season: Path, as_json: bool, level: float) -> None:
    """Show everything that was ever tested, each alone and all judged together.

    \b
    Examples:
      slackwater trial ledger my-season
      slackwater trial ledger my-season --json
    """
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.records.trials import read_trials
    from slackwater.fitting.trials.ledger import trial_ledger as ask

    trials, read = read_trials(season), read_season(season)
    answer = ask(_as_far_as_fitted(read, season), trials, level, read)
    print_answer(answer, as_json, season=season)


@trial.command()
@season_argument
@click.option("--because", required=True, metavar="WORDS", help="Why; kept in the record.")
def stop(season: Path, because: str) -> None:
    """Give up the open trial, so that another can be planned.

    \b
    Examples:
      slackwater trial stop my-season --because "the tub is broken"
      slackwater trial stop my-season --because injury
    """
    from slackwater.fitting.journey.where import next_of
    from slackwater.fitting.records.trials import Stopped, append, open_trial, read_trials

    found = open_trial(read_trials(season))
    number, measure = found.plan.trial, found.plan.measure
    append(season, Stopped(trial=number, written=_now(), because=because))
    click.echo(f"The trial of {measure} is stopped, and stays in the record.")
    print_next(next_of(season, "trial stop"))


def _as_far_as_fitted(read: Season, folder: Path) -> Standing | Season:
    """Return the state on the last night that a fit tells of; the season where none does."""
    from slackwater.fitting.sampling.posterior import Posterior
    from slackwater.fitting.state.standing import standing

    try:
        posterior = Posterior.load(folder)
        try:
            return standing(read, posterior)
        except NoAnswerError:
            return standing(read.through(posterior.last_night), posterior)
    except (NoAnswerError, SeasonError):
        return read


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC).replace(microsecond=0)


def _fit(progress: Callable[[int, int], None] | None) -> Callable[[Season], Standing]:
    """Return what fits a season and tells where the athlete stands."""

    def ask(season: Season) -> Standing:
        from slackwater.fitting.state.standing import standing

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # libraries' notices to developers
            from slackwater.fitting.sampling.fit import fit

            return standing(season, fit(season, progress=progress))

    return ask
