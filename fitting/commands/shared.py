"""What all commands share: their arguments, and how an answer is asked for and printed."""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from slackwater.fitting.commands.completion import complete_folder
from slackwater.model.errors import NoAnswerError, SeasonError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from slackwater.fitting.answers.answer import Answer
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.journey.next_step import NextStep
    from slackwater.fitting.questions import Question

NO_ANSWER: Final = 1
WRONG_INPUT: Final = 2
DEFAULT_LEVEL: Final = 0.8
FIRST_STAGES: Final = ("begin", "rest", "read")
_FIRST_LINE: Final = 1.0  # seconds after the first step of a task

folder_argument = click.argument(
    "season",
    type=click.Path(path_type=Path),
    metavar="SEASON_FOLDER",
    shell_complete=complete_folder,
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead.")
level_option = click.option(
    "--level",
    type=float,
    default=DEFAULT_LEVEL,
    show_default=True,
    help="How often every range holds, between 0 and 1.",
)
_EXPLAIN: Final = "explain_terms"
_DETAILS: Final = "details"


def _kept(context: click.Context, option: click.Parameter, given: bool) -> None:
    """Keep what of an answer's text is asked for, for where it is printed."""
    context.meta[f"{__name__}.{option.name}"] = given


explain_option = click.option(
    "--explain-terms", is_flag=True, expose_value=False, callback=_kept,
    help="Say what the words mean as well.",
)  # fmt: skip
details_option = click.option(
    "--details", is_flag=True, expose_value=False, callback=_kept, help="Show every row and figure."
)


def answering(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the arguments that all that answer have in common."""
    told = explain_option(details_option(guided(command)))
    return folder_argument(json_option(level_option(told)))


def guided(command: Callable[..., Any]) -> Callable[..., Any]:
    """Hand a command the season folder, and say what comes first where it is not ready.

    The command gets a `SeasonFolder` as its argument `season`.
    """

    @wraps(command)
    def guide(*given: Any, season: Path, **options: Any) -> None:
        from slackwater.fitting.folder import SeasonFolder
        from slackwater.fitting.intake.files import likely_season, names_in

        folder = SeasonFolder(season)
        try:
            names_in(season)
            command(*given, season=folder, **options)
        except (NoAnswerError, SeasonError) as error:
            if season.is_dir() or not (season.exists() or likely_season(season)):
                _add_way_on(error, folder, command.__name__)
            raise

    return guide


def _add_way_on(error: NoAnswerError | SeasonError, folder: SeasonFolder, asked: str) -> None:
    """Add to an error what to type: the season's next step at first, later what mends it."""
    from slackwater.fitting.commands.ways import mend
    from slackwater.fitting.journey.where import next_of

    step = next_of(folder, asked)
    if step.stage in FIRST_STAGES:
        error.add_note(_next_text(step, folder))
    elif isinstance(error, NoAnswerError) and (command := mend(error.reasons, folder.path)):
        error.add_note(f"  {command}")


def print_answer(
    question: Question,
    answer: Answer,
    season: SeasonFolder,
    as_json: bool,
    caution: bool = True,
) -> None:
    """Print an answer and the next step, as text or as one JSON object.

    A text's warnings go to standard error; a JSON object holds its own.

    Args:
        question: what was asked.
        answer: the answer.
        season: the season folder, whose next step is told.
        as_json: whether as JSON.
        caution: whether to print the caution and the next step.
    """
    from slackwater.fitting.journey.where import next_of

    step = next_of(season, question.name)
    if as_json:
        from slackwater.fitting.report.objects import as_json as render

        click.echo(render(answer, {"next": step_object(step, season)}))
    else:
        print_text(question, answer, caution)
    if caution and not as_json:
        print_next(step, season)
    season.keep_in_mind()


def print_text(question: Question, answer: Answer, caution: bool = True) -> None:
    """Print an answer as text, its warnings on standard error.

    Args:
        question: what was asked.
        answer: the answer.
        caution: whether to print the caution, and what asks for more.
    """
    from rich.console import Console

    from slackwater.fitting.report.terminal.pieces import Terms, likely
    from slackwater.fitting.report.terminal.show import show

    told = [*question.tell(answer)]
    left_out = {kind: option for kind, option in _left_out().items() if _has(told, kind)}
    show(Console(highlight=False), told, answer, caution, Console(stderr=True), [*left_out])
    if left_out and caution:
        ranges = f"{likely(answer.about.level)} " if Terms in left_out else ""
        click.echo(f"{ranges}More: {' and '.join(left_out.values())}.")


def _left_out() -> dict[type, str]:
    """Return the pieces of a text that were not asked for, and what asks for each."""
    from slackwater.fitting.report.terminal.pieces import Details, Terms

    pieces = {_EXPLAIN: Terms, _DETAILS: Details}
    given = click.get_current_context().meta
    return {
        piece: f"--{name.replace('_', '-')}"
        for name, piece in pieces.items()
        if not given.get(f"{__name__}.{name}")
    }


def _has(told: list[RenderableType], kind: type) -> bool:
    return any(isinstance(piece, kind) for piece in told)


def step_object(step: NextStep, season: SeasonFolder) -> dict[str, str]:
    """Return a next step as JSON has it."""
    from slackwater.fitting.commands.ways import way
    from slackwater.fitting.report.steps import sentence

    return {"stage": step.stage, "sentence": sentence(step), "command": way(step, season.path)}


def print_next(step: NextStep, season: SeasonFolder) -> None:
    """Print a next step."""
    click.echo(_next_text(step, season))


def _next_text(step: NextStep, season: SeasonFolder) -> str:
    """Return a next step, its command on a line of its own so that it can be copied."""
    told = step_object(step, season)
    return wrapped(f"Next: {told['sentence']}:\n  {told['command']}")


def wrapped(text: str) -> str:
    """Return a text broken into lines that the terminal has room for."""
    width = shutil.get_terminal_size().columns
    return "\n".join(part for line in text.splitlines() for part in _folded(line, width))


def _folded(line: str, width: int) -> list[str]:
    """Break a line between words, and within one that is wider than the terminal."""
    from rich.cells import cell_len, chop_cells

    first, *words = line.split(" ")
    *lines, last = chop_cells(first, width) or [""]
    for word in words:
        if cell_len(grown := f"{last} {word}") <= width:
            last = grown
        else:
            *parts, rest = chop_cells(word, width) or [""]
            lines += [last, *parts]
            last = rest
    return [*lines, last]


@contextmanager
def progress_bar(task: str, *, lines: bool = False) -> Iterator[Callable[[int, int], None] | None]:
    """Show progress on standard error, as a bar where that is a terminal.

    Args:
        task: what is being done.
        lines: elsewhere, print a line now and then.

    Yields:
        What is to be called with the steps done and the steps in all, or None.
    """
    if not sys.stderr.isatty():
        yield _lines(task) if lines else None
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    columns = (
        TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(), TimeRemainingColumn()
    )  # fmt: skip
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        shown = bar.add_task("getting ready", total=None)

        def tell(done: int, total: int) -> None:
            bar.update(shown, description=task, completed=done, total=total)

        yield tell


def _lines(task: str) -> Callable[[int, int], None]:
    """Return what prints how far a task is: a second after its first step, then ever more rarely.

    The first step loads and compiles, and says nothing of how long the others take.
    """
    begun, wait = 0.0, _FIRST_LINE

    def tell(done: int, total: int) -> None:
        nonlocal begun, wait
        now = time.monotonic()
        if done == 1:
            begun, wait = now, _FIRST_LINE
        elif now - begun >= wait and done < total:
            left = (now - begun) / (done - 1) * (total - done)
            click.echo(f"{task}: {done} of {total}, about {left:.0f} s to go", err=True)
            wait = 2 * (now - begun)

    return tell
