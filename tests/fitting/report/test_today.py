"""The morning in words: one screen, what matters first, nothing that its facts do not say."""

from __future__ import annotations

import numpy as np
import pytest
from rich.cells import cell_len

from slackwater.fitting import Athlete, today
from slackwater.fitting.journey.today import Today
from slackwater.fitting.report.caution import CAUTION, SHORT_CAUTION
from slackwater.fitting.report.today import headline, plan, reading, trial
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.journey.test_today import LAST, NIGHTS, athlete
from tests.fitting.records.by_hand import plan as kept
from tests.fitting.report.terminal.printing import printed
from tests.fitting.state.test_back import WAITING
from tests.fitting.state.test_unexplained import dropped

READY = WAITING._replace(dips_left={})


def whole(answer: Today) -> str:
    return " ".join(printed("today", answer).split())


@pytest.mark.parametrize(
    ("sessions", "known", "said"),
    [
        ([], WAITING, "You may be recovered, or nearly: the chance is 25 %. Wait with the next "
         "session: it is 80 % or more from Wednesday 2 April on, if you rest until then."),
        ([], READY, "You are likely recovered: the chance is over 99 %. As far as readings tell, "
         "any of your sessions may come today."),
        ([(29, "row")], READY, "row is logged for today; recovered again from Tuesday 1 April on, "
         "if you rest until then."),
    ],
)  # fmt: skip
def test_the_first_sentence(
    sessions: list[tuple[int, str]], known: by_hand.Known, said: str
) -> None:
    assert " ".join(headline(today(athlete(*sessions, known=known)))).endswith(said)


def test_without_a_session_there_is_none_to_wait_for() -> None:
    season = by_hand.season(NIGHTS)
    answer = today(Athlete(season, whole_posterior(season, Known(level=4.1))))
    assert headline(answer)[1].startswith("No session is logged that a reading shows")
    assert "session type" not in whole(answer)


def test_reading_and_state_each_by_their_name() -> None:
    known = WAITING._replace(level=np.log(60.0), dips_left={"row": -np.log(0.9)})
    low = today(athlete(known=known, readings=np.full(NIGHTS, np.log(57.0))))
    assert reading(low) == (
        "The reading, 57 ms, is 5 % under your baseline of 60 ms; one night's noise alone is about "
        "10 % up or down. Without such noise your state is 10 % under baseline."
    )
    assert reading(today(athlete(), morning=LAST + DAY)).startswith("Your state is foreseen ")
    later = headline(today(athlete(), morning=LAST + 9 * DAY))
    assert later[1].startswith("As far as can be foreseen, any of")


def test_a_drop_comes_first_with_the_whole_caution_and_no_offer() -> None:
    answer = today(dropped())
    shown = whole(answer)
    assert "Do nothing hard until it has passed" in shown.partition("You are likely not")[0]
    assert "No session is offered while that is so." in shown
    assert shown.endswith(CAUTION)
    assert "not yet" in shown
    assert whole(today(athlete())).endswith(SHORT_CAUTION)


def test_an_illness_in_the_log_brings_the_whole_caution() -> None:
    known = WAITING._replace(stressors={"cold": (0.1, 1.0)})
    assert whole(today(athlete(known=known, stressors=[(25, "cold")]))).endswith(CAUTION)


def test_a_plan_that_holds_and_one_that_does_not() -> None:
    coming = kept((29, "row", 0.9), (33, "hill run", 0.9), start=28)
    assert plan(today(athlete(known=READY, plans=(coming,)))) == ["Planned for today: row."]
    first, *why = plan(today(athlete((28, "hill run"), plans=(coming,))))
    assert first == "The plan no longer holds."
    assert why[0] == "hill run on Saturday 29 March was not in the plan."
    assert plan(today(athlete())) == trial(today(athlete())) == []


def test_it_is_one_screen_and_its_table_a_phones_width() -> None:
    shown = printed("today", today(athlete())).splitlines()
    assert len(shown) < 24
    table = shown[next(i for i, line in enumerate(shown) if line.startswith("session type")) :]
    assert max(cell_len(line.rstrip()) for line in table[: 2 + 2]) <= 44
