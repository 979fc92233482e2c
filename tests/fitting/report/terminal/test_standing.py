"""Where the athlete stands and what is coming, on a terminal and as JSON."""

from __future__ import annotations

import io

from rich.console import Console

from slackwater.fitting import baseline, forecast
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.report.terminal import standing
from slackwater.fitting.report.terminal.show import show
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known

ATHLETE = by_hand.athlete_of(
    by_hand.season(30, [(24, "row")]), Known({"row": (0.2, 1.0)}, dips_left={"row": 0.19})
)


def test_the_plateau_and_its_rule_are_said() -> None:
    answer, screen = baseline(ATHLETE), io.StringIO()
    show(Console(file=screen, width=80, highlight=False), standing.baseline(answer), answer)
    shown = " ".join(screen.getvalue().split())
    assert "not reached (0 flat nights so far)" in shown
    rule = as_object(answer)["plateau"]["rule"]
    assert "the chance is at least 80 %" in rule
    assert "when that was so two nights ago already, without a session since" in rule
    assert f"Plateau: {rule}." in shown


def test_what_a_page_says_first_is_in_the_json() -> None:
    # 0.19 are under 0.05 after two days, and the last reading is of 30 March.
    assert as_object(baseline(ATHLETE))["at_baseline"] == "likely not"
    assert as_object(forecast(ATHLETE, nights=1))["back_by"] == "2031-04-01"
    assert as_object(baseline(ATHLETE))["back_by"] == "2031-04-01"
