"""The command that writes the report, and what `demo` shares with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from slackwater.fitting.commands.shared import DEFAULT_LEVEL, answering
from slackwater.fitting.questions import ask_for_report, report_layout
from slackwater.fitting.text import escaped

if TYPE_CHECKING:
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.report.asked import Asked

FILE_NAME: Final = "report.html"


@click.command()
@answering
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Where to write it; report.html in the season folder if left out.",
)
def report(season: SeasonFolder, as_json: bool, level: float, out: Path | None) -> None:
    """Write every answer and its pictures into one HTML file.

    The file needs no network and no script: open it, print it, send it. With --json, also
    print the answers that it is made from.

    \b
    Examples:
      slackwater report my-season
      slackwater report my-season --out spring.html
    """
    asked = ask_for_report(season, level)
    path = _write(season, asked, out)
    if as_json:
        from slackwater.fitting.report.asked import asked_json

        click.echo(asked_json(asked))
    else:
        click.echo(f"Wrote {escaped(str(path))}.")


def write_report(season: SeasonFolder) -> Path:
    """Write a season's report into its folder and return the file's path."""
    return _write(season, ask_for_report(season, DEFAULT_LEVEL), None)


def _write(season: SeasonFolder, asked: Asked, out: Path | None) -> Path:
    from slackwater.fitting.files import write_whole
    from slackwater.fitting.report.page.page import page

    content = page(asked, report_layout()).encode()
    if out is None:
        return season.write(FILE_NAME, content)
    write_whole(out, content)
    return out
