"""What takes long, each in a process of its own: it tells how far it is, and can be stopped.

    python -m slackwater.fitting.serving.work FOLDER    the work, as JSON, on standard input

The process writes a JSON object a line: `{"done": 300, "of": 8000}` on the way, `{"came": {...}}`
for what came of it, `{"refused": "..."}` where nothing did.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from slackwater.model.errors import NoAnswerError, SlackwaterError

_GENTLE: Final = 10  # how far it stands back behind the page, which is waited for
FIT: Final = "fit"
FIT_SQUAD: Final = "fit a squad"
PLAN_TRIAL: Final = "plan a trial"
JUDGE_TRIAL: Final = "judge a trial"

Progress = Callable[[int, int], None]


@dataclass
class Work:
    """One piece of work.

    Attributes:
        kind: what is done.
        about: what it is about, for whoever looks on.
        process: that does it.
        begun: when, in seconds of a clock that only goes forward.
        done: steps done.
        of: steps in all; 0 before that is known.
        came: what came of it, as its kind tells it.
        refused: why nothing did.
        stopped: whether it was asked to stop.
    """

    kind: str
    about: str
    process: subprocess.Popen[str]
    begun: float = field(default_factory=time.monotonic)
    done: int = 0
    of: int = 0
    came: dict[str, Any] = field(default_factory=dict)
    refused: str = ""
    stopped: bool = False

    @property
    def running(self) -> bool:
        """Whether it is not at its end yet."""
        return self.process.poll() is None

    @property
    def seconds(self) -> int:
        """How long it has run."""
        return int(time.monotonic() - self.begun)

    def listen(self) -> None:
        """Take in what the process tells, until it ends."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            with suppress(ValueError):
                told = json.loads(line)
                self.done, self.of = told.get("done", self.done), told.get("of", self.of)
                self.came = told.get("came", self.came)
                self.refused = told.get("refused", self.refused)
        self.process.stdout.close()
        if self.process.wait() and not self.refused and not self.stopped:
            self.refused = "It ended before its time; what was there is as it was."


class Works:
    """The work on each season, one piece at a time."""

    def __init__(self) -> None:
        """Begin with none."""
        self._works: dict[Path, Work] = {}

    def on(self, folder: Path) -> Work | None:
        """Return the last piece of work on a season; None where there was none."""
        return self._works.get(folder)

    def start(self, folder: Path, kind: str, about: str = "", **given: Any) -> Work:
        """Start a piece of work on a season, unless one runs already, which is returned then."""
        before = self._works.get(folder)
        if before is not None and before.running:
            return before
        process = subprocess.Popen(
            [sys.executable, "-m", __name__, str(folder)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,  # with all processes that it starts, to be stopped together
        )
        assert process.stdin is not None
        process.stdin.write(json.dumps({"kind": kind, **given}))
        process.stdin.close()
        work = Work(kind, about, process)
        threading.Thread(target=work.listen, daemon=True).start()
        self._works[folder] = work
        return work

    def forget(self, folder: Path) -> None:
        """Let go of what came of the last work on a season."""
        self._works.pop(folder, None)

    def stop(self, folder: Path) -> None:
        """Stop what runs on a season; nothing of it is kept."""
        work = self._works.get(folder)
        if work is not None and work.running:
            work.stopped = True
            _end(work.process)

    def stop_all(self) -> None:
        """Stop all that runs."""
        for folder in self._works:
            self.stop(folder)


def _end(process: subprocess.Popen[str]) -> None:
    """End a process and all that it started."""
    if hasattr(os, "killpg"):
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)  # what it writes is whole or not there at all
    else:
        process.terminate()
    process.wait()


def main() -> None:
    """Do the work that stands on standard input."""
    if hasattr(os, "nice"):
        os.nice(_GENTLE)
    given = json.load(sys.stdin)
    output, sys.stdout = sys.stdout, sys.stderr  # what libraries print is not for the page

    def tell(**told: Any) -> None:
        output.write(json.dumps(told) + "\n")
        output.flush()

    try:
        do = _KINDS[given.pop("kind")]
        tell(came=do(Path(sys.argv[1]), lambda done, of: tell(done=done, of=of), **given))
    except NoAnswerError as error:
        from slackwater.fitting.report.reasons import told as in_words

        tell(refused=in_words(error))
        sys.exit(1)
    except (SlackwaterError, OSError) as error:
        tell(refused=str(error))
        sys.exit(1)


def _fit(folder: Path, progress: Progress) -> dict[str, Any]:
    from slackwater.fitting.folder import SeasonFolder

    season = SeasonFolder(folder)
    season.fit(progress=progress)
    season.keep_in_mind()
    return {}


def _fit_squad(folder: Path, progress: Progress) -> dict[str, Any]:
    """Fit every athlete who changed on this machine's cores, and pool them."""
    from slackwater.fitting.questions import question
    from slackwater.fitting.squads.extra import needed
    from slackwater.fitting.squads.folder import SquadFolder

    with needed():
        from slackwater.fitting.report.squads.fitted import said, to_mind
        from slackwater.fitting.squads.cluster import Where, cluster

        with cluster(Where()) as opened:
            answer = question("squad fit").ask(SquadFolder(folder), opened, tell=progress)
    return {"said": said(answer), "mind": to_mind(answer)}


def _plan_trial(folder: Path, progress: Progress, **wanted: Any) -> dict[str, Any]:
    """Plan a trial and register nothing: its plan in words, and the event that registers it."""
    import numpy as np

    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.questions import question
    from slackwater.fitting.records.trials import this_moment
    from slackwater.fitting.report.pieces import as_plain, pieces
    from slackwater.fitting.report.reasons import sentences
    from slackwater.fitting.trials.plan import Wanted, to_record
    from slackwater.fitting.trials.rehearsal import rehearse_all

    season, row = SeasonFolder(folder), question("trial plan")
    start = wanted.pop("start")
    asked = Wanted(**wanted, start=np.datetime64(start) if start else None)
    answer = row.ask(season, asked, run=lambda tasks: rehearse_all(tasks, progress))
    event = to_record(answer, season.trials, this_moment()) if answer.planned else None
    return {
        "told": as_plain(pieces(row.tell(answer))),
        "mind": sentences((*answer.about.warnings, *answer.why_not)),
        "event": event and event.model_dump(mode="json"),
    }


def _judge_trial(folder: Path, progress: Progress) -> dict[str, Any]:
    """Judge a trial by its rule, and keep the result in the record."""
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.questions import question
    from slackwater.fitting.records.trials import this_moment
    from slackwater.fitting.report.pieces import as_plain, pieces
    from slackwater.fitting.report.reasons import sentences
    from slackwater.fitting.trials.analyse import to_record
    from slackwater.fitting.trials.judging import judging

    season, row = SeasonFolder(folder), question("trial analyse")
    priors = season.posterior.priors if season.fitted else None
    answer = row.ask(season, judging(priors, progress))
    if event := to_record(answer, this_moment()):
        season.record(event)
    return {"told": as_plain(pieces(row.tell(answer))), "mind": sentences(answer.about.warnings)}


_KINDS: Final[dict[str, Callable[..., dict[str, Any]]]] = {
    FIT: _fit,
    FIT_SQUAD: _fit_squad,
    PLAN_TRIAL: _plan_trial,
    JUDGE_TRIAL: _judge_trial,
}


if __name__ == "__main__":
    main()
