"""What takes long, each in a process of its own: it tells how far it is, and can be stopped.

    python -m slackwater.fitting.serving.work FOLDER    the work, as JSON, on standard input

The process writes a JSON object a line: `{"done": 300, "of": 8000}` on the way, `{"said": [...]}`
for what came of it, `{"refused": "..."}` where nothing did.
"""

from __future__ import annotations

import json
import os
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
        said: what came of it.
        refused: why nothing did.
        stopped: whether it was asked to stop.
    """

    kind: str
    about: str
    process: subprocess.Popen[str]
    begun: float = field(default_factory=time.monotonic)
    done: int = 0
    of: int = 0
    said: list[str] = field(default_factory=list)
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
                self.said = told.get("said", self.said)
                self.refused = told.get("refused", self.refused)
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
        )
        assert process.stdin is not None
        process.stdin.write(json.dumps({"kind": kind, **given}))
        process.stdin.close()
        work = Work(kind, about, process)
        threading.Thread(target=work.listen, daemon=True).start()
        self._works[folder] = work
        return work

    def stop(self, folder: Path) -> None:
        """Stop what runs on a season; nothing of it is kept."""
        work = self._works.get(folder)
        if work is not None and work.running:
            work.stopped = True
            work.process.terminate()
            work.process.wait()

    def stop_all(self) -> None:
        """Stop all that runs."""
        for folder in self._works:
            self.stop(folder)


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
        said = _KINDS[given.pop("kind")](
            Path(sys.argv[1]), lambda done, of: tell(done=done, of=of), **given
        )
        tell(said=said)
    except NoAnswerError as error:
        from slackwater.fitting.report.reasons import told as in_words

        tell(refused=in_words(error))
        sys.exit(1)
    except (SlackwaterError, OSError) as error:
        tell(refused=str(error))
        sys.exit(1)


def _fit(folder: Path, progress: Progress) -> list[str]:
    from slackwater.fitting.folder import SeasonFolder
    from slackwater.fitting.report.reasons import sentences

    season = SeasonFolder(folder)
    posterior = season.fit(progress=progress)
    season.keep_in_mind()
    return sentences(posterior.checks.complaints)


_KINDS: Final[dict[str, Callable[..., list[str]]]] = {FIT: _fit}


if __name__ == "__main__":
    main()
