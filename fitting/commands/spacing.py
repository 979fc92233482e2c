"""The command that plans sessions, and later checks planned against done."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from slackwater.fitting.commands.completion import complete_counted_type, complete_dated_type
from slackwater.fitting.commands.learning import NO_ANSWER
from slackwater.fitting.commands.shared import answering, print_answer, standing_of

if TYPE_CHECKING:
    import xarray as xr

    from slackwater.fitting.records.plans import KeptPlan


@click.command(short_help="Plan sessions so that each begins recovered.")
@answering
@click.option(
    "--want",
    "wanted",
    multiple=True,
    metavar="TYPE:COUNT",
    shell_complete=complete_counted_type,
    help="So many sessions of a type; give it again for more types.",
)
@click.option("--days", type=int, default=7, show_default=True, help="How many days to plan.")
@click.option("--from", "start", metavar="DATE", help="First day; that of the last reading.")
@click.option(
    "--fixed",
    multiple=True,
    metavar="DATE:TYPE",
    shell_complete=complete_dated_type,
    help="A session whose day is given; one of those wanted.",
)
@click.option("--rest", multiple=True, metavar="DAY", help="A date or weekday without a session.")
@click.option(
    "--chance",
    type=float,
    default=0.8,
    show_default=True,
    help="Chance to be recovered before each session.",
)
@click.option(
    "--chance-for",
    multiple=True,
    metavar="TYPE:SHARE",
    shell_complete=complete_counted_type,
    help="Another chance before sessions of a type.",
)
@click.option("--keep", is_flag=True, help="Keep the plan in plans.json, to check it later.")
@click.option(
    "--ics",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the plan as an iCalendar file, and keep it.",
)
@click.option("--force", is_flag=True, help="Replace FILE if it is there already.")
@click.option("--check", is_flag=True, help="Compare the plans kept with what was done.")
def spacing(
    season: Path,
    as_json: bool,
    level: float,
    wanted: tuple[str, ...],
    days: int,
    start: str | None,
    fixed: tuple[str, ...],
    rest: tuple[str, ...],
    chance: float,
    chance_for: tuple[str, ...],
    keep: bool,
    ics: Path | None,
    force: bool,
    check: bool,
) -> None:
    """Plan wanted sessions so that each begins recovered, or say what would have to give.

    At most one session a day. Whether a session begins recovered is read on the morning of
    its own day. Sessions that are already logged on coming days stay where they are.

    \b
    Examples:
      slackwater spacing my-season --want "hill run:1" --want "steady row:2" \\
          --days 14
      slackwater spacing my-season --want "hill run:2" --days 14 --rest Sunday \\
          --fixed "2031-07-12:hill run" --chance-for "hill run:0.9" --ics plan.ics
      slackwater spacing my-season --check
    """
    from slackwater.fitting.spacing.plan import plan_spacing as ask
    from slackwater.fitting.spacing.wish import read_chances, read_counts, read_fixed

    if check:
        if any((wanted, start, fixed, rest, chance_for, keep, ics, force)):
            raise click.UsageError("--check stands alone; plan without it.")
        _check(season, as_json, level)
        return
    answer = ask(
        standing_of(season),
        read_counts(wanted),
        days,
        start=start,
        fixed=read_fixed(fixed),
        rest=rest,
        chance=chance,
        chance_for=read_chances(chance_for),
        level=level,
    )
    keep = keep or ics is not None
    if keep and answer.attrs["fits"]:
        _keep(season, answer, ics, force)
    print_answer(answer, as_json, season=season)
    if keep and not answer.attrs["fits"]:
        click.echo("No plan fits, so none was written or kept.", err=True)
        sys.exit(NO_ANSWER)


def _keep(season: Path, answer: xr.Dataset, ics: Path | None, force: bool) -> None:
    """Write what was asked to be written; the calendar first, as that can be refused."""
    from slackwater.fitting.records.plans import FILE_NAME, plan_to_keep, with_plan
    from slackwater.fitting.report.calendar_file import write_whole

    before = _plans(season)
    if ics is not None:
        from slackwater.fitting.report.calendar_file import as_calendar

        write_whole(ics, as_calendar(answer, dt.datetime.now(dt.UTC)), replace=force)
        click.echo(f"Wrote {ics}.", err=True)
    path = season / FILE_NAME
    write_whole(path, with_plan(before, plan_to_keep(answer)).encode(), replace=True)
    click.echo(f"Kept the plan in {path}.", err=True)


def _plans(season: Path) -> list[KeptPlan]:
    from slackwater.fitting.records.plans import FILE_NAME, read_plans

    path = season / FILE_NAME
    return read_plans(path.read_bytes(), str(path)) if path.exists() else []


def _check(season: Path, as_json: bool, level: float) -> None:
    from slackwater.fitting.sampling.posterior import Posterior
    from slackwater.fitting.spacing.check import check_spacing

    now = standing_of(season)
    answer = check_spacing(now, Posterior.load(season), _plans(season), level)
    print_answer(answer, as_json, season=season)
