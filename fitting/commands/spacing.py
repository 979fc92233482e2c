"""The command that plans sessions, and later checks planned against done."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from slackwater.fitting.commands.completion import complete_counted_type, complete_dated_type
from slackwater.fitting.commands.shared import NO_ANSWER, answering, print_answer
from slackwater.fitting.questions import question
from slackwater.fitting.text import escaped
from slackwater.model.errors import QuestionError

if TYPE_CHECKING:
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.spacing.plan import SpacingPlan


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
    season: SeasonFolder,
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
    from slackwater.fitting.commands.typed_wish import read_chances, read_counts, read_fixed
    from slackwater.fitting.spacing.plan import plan_to_keep

    if check:
        if any((wanted, start, fixed, rest, chance_for, keep, ics, force)):
            raise click.UsageError("--check stands alone; plan without it.")
        row = question("spacing check")
        print_answer(row, row.ask(season, level), season, as_json)
        return
    row = question("spacing")
    plan = row.ask(
        season,
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
    if keep and plan.fits:
        if ics is not None:  # first, as it may be refused
            _write_calendar(plan, ics, force)
        kept = season.keep(plan_to_keep(plan))
        click.echo(f"Kept the plan in {escaped(str(kept))}.", err=True)
    print_answer(row, plan, season, as_json)
    if keep and not plan.fits:
        click.echo("No plan fits, so none was written or kept.", err=True)
        sys.exit(NO_ANSWER)


def _write_calendar(plan: SpacingPlan, ics: Path, force: bool) -> None:
    from slackwater.fitting.files import write_whole
    from slackwater.fitting.report.calendar_file import as_calendar

    if ics.exists() and not force:
        raise QuestionError(
            f"{ics} is there already and was left as it is; give another name, or --force to "
            "replace it."
        )
    write_whole(ics, as_calendar(plan, dt.datetime.now(dt.UTC)))
    click.echo(f"Wrote {escaped(str(ics))}.", err=True)
