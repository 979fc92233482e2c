"""The stages of the worked season: what is done, in which order, and what is said about it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from slackwater.fitting import SeasonFolder, trial_today
from tests.studies.invented_rower import DAY, RATE_RATIOS, Choose, Rower, true_days
from tests.studies.worked_words import (
    AFTER_VERDICT,
    BEGINNING,
    LATER,
    UNDECIDED,
    UNDECIDED_AGAIN,
    words_of_the_truth,
)

if TYPE_CHECKING:
    from tests.studies.worked_season import Page

SEED: Final = 20320105  # the first day; the only one tried
USUAL: Final = [1, 2, 2, 3]  # days from one session to the next
WITH_GAPS: Final = [2, 2, 3]
LONGEST_REST: Final = 21
WANTED: Final = ("heavy squats:1", "hill run:1", "steady row:2")
MEASURES: Final = ("river dip", "beet juice")
LONGEST_TRIAL: Final = 420  # days


def whole(page: Page) -> None:
    """Live through all of it."""
    rower = Rower(page.season, SEED)
    first_days(page, rower)
    end_of_rest(page, rower)
    training(page, rower)
    spacing(page, rower)
    verdict = trial(page, rower, MEASURES[0])
    if verdict == "undecided":
        verdict = longer_trial(page, rower, MEASURES[0])
    after(page, rower, MEASURES[0], verdict)
    second(page, rower, MEASURES[0] if verdict == "faster" else None)
    truth(page, rower)


def first_days(page: Page, rower: Rower) -> None:
    """From no folder at all to the first mornings of rest."""
    page.say(BEGINNING)
    page.say("## An empty folder")
    page.run("check")
    page.say("So the rower writes down the first reading, and asks again:")
    rower.wake()
    _show_file(page, "readings.csv")
    page.run("check")
    page.say(
        "## Two weeks of complete rest\n\nBefore it can be said how long training takes to "
        "recover from, it must be known where recovery ends. So training stops altogether, and "
        "`washout` tells each morning how far rest has come. At first nothing is known of this "
        "athlete, and it says so."
    )
    page.run("washout", "--days", "3")
    _live(rower, 4)
    page.say("Four mornings later:")
    page.run("washout", "--days", "3", cut=("a washout holds if", "Past readings"))


def end_of_rest(page: Page, rower: Rower) -> None:
    """The first fit, and rest until its plateau."""
    _live(rower, 9)
    page.say("After fourteen readings there is enough for a first fit:")
    page.run("check")
    page.run("fit")
    page.run("washout", "--days", "3", cut=("a washout holds if", "Past readings"))
    rested = 14
    while page.step() == "rest on" and rested < LONGEST_REST:
        _live(rower, 2)
        rested += 2
        page.say(f"Rest goes on, and {rested} days after its beginning:")
        page.run("washout", "--days", "3")


def training(page: Page, rower: Rower) -> None:
    """Twelve weeks of training as usual, with a look after four."""
    page.say(
        "## Training as usual\n\nNow the rower trains as always: five kinds of session in "
        "turns, one to three days apart, each written into `sessions.csv` on its day. `types.csv` "
        "tells what kind each is of:"
    )
    usual = rower.usual(USUAL)
    _live(rower, 28, usual)
    _show_file(page, "types.csv")
    page.say("After four weeks a first look. The ranges are wide, and that is honest:")
    page.run("fit")
    page.run("recovery")
    _live(rower, 56, usual)
    page.say("Eight more weeks, and the same questions again:")
    page.run("check")
    page.run("fit")
    page.run("recovery")
    page.say(
        "These are the sentences that it was all for: of each kind of session, how many days, and "
        "how sure. The last column is the one to plan with. But do repeats of one kind agree, and "
        "would more of them tell more?"
    )
    page.run("repeats")
    page.run("elements", cut=("What these data cannot", "Past readings"))


def spacing(page: Page, rower: Rower) -> None:
    """A plan that is kept, followed but for one day, and checked."""
    page.say(
        "## Sessions with enough room\n\nWith the days known, the sessions of the coming two "
        "weeks can be put where each begins recovered. Sundays are for the family."
    )
    wanted = [part for each in WANTED for part in ("--want", each)]
    wanted += ["--rest", "Sunday"]
    days = 14
    if page.run("spacing", *wanted, "--days", str(days), "--keep") != 0:
        page.say(
            "That is too much for so few days, and the answer says what would fit. The rower "
            "would rather take more days than leave a session out:"
        )
        ways = page.ask("spacing", *wanted, "--days", str(days))["alternatives"]
        days = next(way["days"] for way in ways if way["kind"] == "more days")
        page.run("spacing", *wanted, "--days", str(days), "--keep")
    planned = {s["date"]: s["type"] for s in page.ask("spacing", "--check")["planned"]}
    late = max(planned)
    page.say(
        "The plan is in `plans.json` now. The rower follows it, but for the last session, which "
        "work puts off by a day. When its days are over:"
    )

    def follow(day: np.datetime64) -> str | None:
        if str(day) == late:
            return None
        return planned[late] if str(day - DAY) == late else planned.get(str(day))

    _live(rower, days + 2, follow)
    page.run("check")
    page.run("fit")
    page.run("spacing", "--check")
    _live(rower, 3)


def trial(page: Page, rower: Rower, measure: str) -> str:
    """A whole trial of one measure; returns its verdict."""
    page.say(
        f"## A recovery measure on trial: {measure}\n\nFriends swear by a dip in the cold river "
        "after training. Whether it does anything for this rower is a question for a trial. "
        "`trial plan` simulates whole trials to find out how long it has to be; the smallest "
        "effect worth having is left to it. (`--seed` is given so that this page can be made "
        "again; leave it out, and the lots are drawn at random.)"
    )
    _plan_trial(page, measure)
    page.say(
        "From now on the rower chooses and logs a session, then asks. Leaving a free day between "
        "sessions pays: only then can a recovery be seen."
    )
    days = _through(page, rower, measure, shown=True)
    page.say(f"And after {days} days:")
    page.run("trial", "today")
    page.run("trial", "analyse")
    page.run("trial", "ledger")
    return _verdict(page)


def longer_trial(page: Page, rower: Rower, measure: str) -> str:
    """The same measure on trial once more, for a smaller effect; returns its verdict."""
    page.say(UNDECIDED)
    page.run("fit")
    _plan_trial(page, measure, "--smallest", "1")
    days = _through(page, rower, measure)
    page.say(f"After {days} days of drawing lots:")
    page.run("trial", "analyse")
    page.run("trial", "ledger")
    return _verdict(page)


def after(page: Page, rower: Rower, measure: str, verdict: str) -> None:
    """What follows from the verdict, and eight weeks of living with it."""
    page.say(f"## What follows\n\nThe verdict is *{verdict}*. {AFTER_VERDICT[verdict].strip()}")
    _live(rower, 56, rower.usual(USUAL), measure if verdict == "faster" else None)
    page.run("fit")
    page.run("recovery")
    if verdict == "faster":
        page.say("These are the days without the river dip. What it takes off them, by type:")
        page.run("compare", "--intervention", measure)
        page.say("And baseline, before and since:")
    judged = SeasonFolder(page.season).trials[-1].analysed
    assert judged is not None
    page.run("history", "--from", str(judged.last_night))


def second(page: Page, rower: Rower, kept: str | None) -> None:
    """Another measure tried, the first going on if it was adopted."""
    measure = MEASURES[1]
    going_on = (
        f" {kept.capitalize()} goes on every day, so it is the same in both arms." if kept else ""
    )
    page.say(f"## The next idea: {measure}\n\nOne measure at a time, and each by lot.{going_on}")
    _plan_trial(page, measure, "--smallest", "1")
    _through(page, rower, measure, kept=kept)
    page.run("trial", "analyse")
    page.run("fit")
    page.run("trial", "ledger")
    if _verdict(page) == "undecided":
        page.say(UNDECIDED_AGAIN)
    page.say(LATER)
    page.run("history")


def truth(page: Page, rower: Rower) -> None:
    """Open the envelope."""
    found = page.ask("recovery")
    level = page.ask("baseline")["baseline_rmssd_ms"]
    rows = {row["type"]: row["typical_days"] for row in found["types"]}
    trials = [
        (RATE_RATIOS[row["measure"]], row)
        for row in page.ask("trial", "ledger")["rows"]
        if row["trial"] is not None
    ]
    page.say(words_of_the_truth(true_days(), rows, trials, rower.baseline_ms(), level, SEED))


def _verdict(page: Page) -> str:
    judged = SeasonFolder(page.season).trials[-1].analysed
    assert judged is not None
    return judged.verdict


def _plan_trial(page: Page, measure: str, *smallest: str) -> None:
    seed = str(SEED + len(SeasonFolder(page.season).trials))
    chosen = ("--measure", measure, *smallest, "--seed", seed)
    if page.run("trial", "plan", *chosen) == 0:
        return
    page.say("So the rower asks for what it can find:")
    found = page.ask("trial", "plan", *chosen, "--draft")["smallest_found_days"]
    page.run("trial", "plan", "--measure", measure, "--smallest", f"{found:.1f}", "--seed", seed)


def _through(
    page: Page, rower: Rower, measure: str, shown: bool = False, kept: str | None = None
) -> int:
    """Live through a trial until it may be judged, and return the days that it took."""
    usual, show = rower.usual(WITH_GAPS), 3 * shown
    for days in range(1, LONGEST_TRIAL):
        day = rower.wake()
        if days in (30, 31, 32) and shown:
            rower.fall_ill()
        label = usual(day)
        rower.train(label)
        today = trial_today(SeasonFolder(page.season), day)
        if today.complete:
            return days
        if show and today.stretch and today.stretch.first == day:
            page.run("trial", "today", "--date", str(day), cut=("session type", "More:"))
            show -= 1
        if today.use:
            rower.use(measure)
        if kept:
            rower.use(kept)
        if days == 60 and shown:
            page.say(
                "So it goes on, with a head cold in the fifth week (logged as a stressor), and a "
                "few days on which the measure was forgotten. After two months:"
            )
            page.run("trial", "today", "--date", str(day))
            page.say(
                "Results are not shown on the way, and other commands don't give them away either:"
            )
            page.run("compare", "--intervention", measure)
    raise RuntimeError(f"The trial of {measure} did not end in {LONGEST_TRIAL} days.")


def _live(
    rower: Rower, days: int, choose: Choose | None = None, measure: str | None = None
) -> None:
    for _ in range(days):
        day = rower.wake()
        if choose is not None:
            rower.train(choose(day))
        if measure is not None:
            rower.use(measure)


def _show_file(page: Page, name: str) -> None:
    content = (page.season / name).read_text(encoding="utf-8")
    page.say(f"`{name}`:\n\n```text\n{content}```")
