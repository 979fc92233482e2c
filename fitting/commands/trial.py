"""The commands for trials: one recovery measure at a time."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Any

import click

from slackwater.fitting.commands.completion import complete_intervention
from slackwater.fitting.commands.shared import (
    answering,
    folder_argument,
    guided,
    print_answer,
    print_next,
    progress_bar,
)
from slackwater.fitting.questions import question
from slackwater.fitting.text import escaped
from slackwater.model.errors import NoAnswerError

if TYPE_CHECKING:
    from slackwater.fitting.folder import SeasonFolder


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
def plan(season: SeasonFolder, as_json: bool, level: float, draft: bool, **options: Any) -> None:
    """Plan a trial of one measure and register it in the season's trials.json.

    Simulates 40 whole trials and fits each: about half a minute on two free cores.

    \b
    Examples:
      slackwater trial plan my-season --measure "ice bath" --smallest 1
      slackwater trial plan my-season --measure "ice bath" --sessions 12 --draft
    """
    from slackwater.fitting.intake.dates import parse_date
    from slackwater.fitting.records.trials import this_moment
    from slackwater.fitting.trials import plan as asked
    from slackwater.fitting.trials.rehearsal import rehearse_all

    seed = secrets.randbelow(2**32) if options["seed"] is None else options["seed"]
    wanted = asked.Wanted(
        measure=options["measure"],
        seed=seed,
        smallest=options["smallest"],
        chance=options["chance"],
        sessions=options["sessions"],
        start=None if options["start"] is None else parse_date(options["start"]),
    )
    row = question("trial plan")
    with progress_bar("simulating whole trials", lines=True) as progress:
        answer = row.ask(season, wanted, level, lambda tasks: rehearse_all(tasks, progress))
    if answer.planned and not draft:
        path = season.record(asked.to_record(answer, season.trials, this_moment()))
        click.echo(f"Registered in {escaped(str(path))}.", err=True)
    print_answer(row, answer, season, as_json)
    if answer.why_not and not draft:
        raise NoAnswerError(*answer.why_not)


@trial.command()
@answering
@click.option("--date", metavar="DATE", help="The day asked about; the last reading's.")
def today(season: SeasonFolder, as_json: bool, level: float, date: str | None) -> None:
    """Tell whether to use the measure today, and until when.

    Log the day's session first: its arm is told afterwards.

    \b
    Examples:
      slackwater trial today my-season
      slackwater trial today my-season --date 2031-05-02
    """
    from slackwater.fitting.intake.dates import parse_date

    row = question("trial today")
    day = None if date is None else parse_date(date)
    print_answer(row, row.ask(season, day, level), season, as_json)


@trial.command(short_help="Judge a trial, by the rule fixed in its plan.")
@answering
@click.option("--peek", is_flag=True, help="Look before the planned number; kept in the record.")
@click.option("--report-items", is_flag=True, help="What a report of the trial should say.")
def analyse(
    season: SeasonFolder, as_json: bool, level: float, peek: bool, report_items: bool
) -> None:
    """Judge a trial, by the rule fixed in its plan, and keep the result in the record.

    \b
    Examples:
      slackwater trial analyse my-season
      slackwater trial analyse my-season --peek
      slackwater trial analyse my-season --report-items
    """
    from slackwater.fitting.records.trials import this_moment
    from slackwater.fitting.trials.analyse import to_record
    from slackwater.fitting.trials.judging import judging

    if report_items:
        row = question("trial report items")
        print_answer(row, row.ask(season, level), season, as_json)
        return
    row = question("trial analyse")
    priors = season.posterior.priors if season.fitted else None
    with progress_bar("sampling") as progress:
        answer = row.ask(season, judging(priors, progress), peek=peek, level=level)
    if event := to_record(answer, this_moment()):
        season.record(event)
    print_answer(row, answer, season, as_json)


@trial.command(short_help="Show everything that was ever tested.")
@answering
def ledger(season: SeasonFolder, as_json: bool, level: float) -> None:
    """Show everything that was ever tested, each alone and all judged together.

    \b
    Examples:
      slackwater trial ledger my-season
      slackwater trial ledger my-season --json
    """
    row = question("trial ledger")
    print_answer(row, row.ask(season, level), season, as_json)


@trial.command()
@folder_argument
@click.option("--because", required=True, metavar="WORDS", help="Why; kept in the record.")
@guided
def stop(season: SeasonFolder, because: str) -> None:
    """Give up the open trial, so that another can be planned.

    \b
    Examples:
      slackwater trial stop my-season --because "the tub is broken"
      slackwater trial stop my-season --because injury
    """
    from slackwater.fitting.journey.where import next_of
    from slackwater.fitting.records.trials import open_trial, stop_trial, this_moment

    measure = open_trial(season.trials).plan.measure
    season.record(stop_trial(season.trials, because, this_moment()))
    click.echo(f"The trial of {measure} is stopped, and stays in the record.")
    print_next(next_of(season, "trial stop"), season)
