"""What a report of a single-athlete trial should say, filled in from the record.

The items follow CENT 2015, the extension of CONSORT to trials with one participant (Vohra
et al. 2015, BMJ 350:h1738), from memory and in our words; check against the source before
publishing.
"""

from __future__ import annotations

from typing import Final

import xarray as xr

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL
from slackwater.fitting.records.lots import LONGEST_STRETCH, WITH, WITHOUT, Arm
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.trials.guards import guards, missed, strayed, trial_answer
from slackwater.fitting.trials.stretches import (
    FIRST_MORNING,
    LAST_MORNING,
    assigned,
    counted,
    planned_part,
    stretches_of,
)
from slackwater.model.season import DAY, Season

SOURCE: Final = "after CENT 2015 (Vohra et al., BMJ 2015;350:h1738), from memory and in our words"
YOURS: Final = "yours to write"


def report_items(season: Season, trial: Trial, level: float = DEFAULT_LEVEL) -> xr.Dataset:
    """Answer what a report of a trial should say, and what of it the record knows.

    Args:
        season: the season as it is now.
        trial: the trial.
        level: as for every answer; no interval is shown.

    Returns:
        No numbers; attribute `items`, a list of `item`, `what` and `record`.
    """
    plan = trial.plan
    stretches = stretches_of(season, assigned(plan))
    judged = planned_part(stretches, plan.sessions_per_arm) or stretches
    counts = counted(judged)
    shares = ", ".join(f"{label} ({100 * s:.0f} %)" for label, s in plan.types.items())
    last = judged[-1].last + DAY if judged else season.last_night
    skipped, added = missed(season, trial, judged, last), strayed(season, trial, judged, last)
    found = trial.analysed
    ended = "still open"
    if trial.stopped is not None:
        ended = f"stopped: {trial.stopped.because}"
    elif found is not None:
        ended = f"at its planned size, judged with readings up to {found.last_night}"
    result = "not analysed yet" if found is None else _result(trial)
    rows = [
        ("1", "title and summary name it a trial with one participant", YOURS),
        ("2", "why, and what is asked", YOURS),
        (
            "3a",
            "design: periods, their length and order, washout",
            f"recovery stretches of up to {LONGEST_STRETCH} days, in pairs within session type; no "
            "washout between stretches, since the measure is taken to act while it is used",
        ),
        ("3b", "changes after the start", "none is possible in the record; name others"),
        ("4", "the participant and the setting", YOURS),
        ("5", "the measure, in detail for both arms", f"{plan.measure}; dose and timing: {YOURS}"),
        (
            "6",
            "outcomes, how and when measured",
            f"nightly ln RMSSD; recovery rate by the model; mean of the {FIRST_MORNING}nd to "
            f"{LAST_MORNING}th morning after a session without it",
        ),
        (
            "7a",
            "size and its reason",
            f"{plan.sessions_per_arm} sessions per arm: a chance of "
            f"{100 * plan.expected_chance:.0f} % of the verdict 'faster' at the smallest effect "
            f"worth having (days saved for a typical session: {plan.smallest_days:g})",
        ),
        ("7b", "interim looks and stopping", f"{len(trial.looks)} looks; {ended}"),
        ("8a", "how the sequence was drawn", f"SHA-256 of seed {plan.seed}, type and pair"),
        ("8b", "restrictions", f"pairs within type; types: {shares}"),
        ("8c", "the whole intended sequence", f"in the record, trial {plan.trial}, pairs"),
        ("9", "concealment", "an arm is told after its session is logged"),
        ("10", "who drew, who assigned", "the program"),
        ("11", "blinding", "none: the athlete knows"),
        ("12", "analysis, and how carry-over and order are dealt with", plan.verdict_rule),
        ("13", "flow: periods begun, completed, judged", _flow(counts, len(judged))),
        ("14", "dates, and why it ended", f"from {plan.start}; {ended}"),
        ("15", "state at the start", f"recovery and baseline before {plan.start}: {YOURS}"),
        ("16", "what was analysed, as assigned or as used", _flow(counts, len(judged))),
        ("17", "result with its uncertainty, raw data", result),
        (
            "18",
            "adherence and further analyses",
            f"not used on {len(skipped)} days assigned, used on {len(added)} others",
        ),
        ("19", "harms", YOURS),
        ("20", "limits", "; ".join(guards(season, trial, judged)) or YOURS),
        ("21", "for whom it holds", "for this athlete, in this season"),
        ("22", "interpretation", YOURS),
        ("23", "registration", f"trials.json, written {plan.written:%Y-%m-%d %H:%M} UTC"),
        ("24", "protocol", "trials.json and the plan's printout"),
        ("25", "funding, interests", YOURS),
    ]
    return trial_answer(
        xr.Dataset(),
        "trial report items",
        season,
        level,
        [],
        measure=plan.measure,
        source=SOURCE,
        items=[{"item": item, "what": what, "record": said} for item, what, said in rows],
    )


def _flow(counts: dict[Arm, int], begun: int) -> str:
    told = f"{counts[WITH]} with and {counts[WITHOUT]} without tell of recovery"
    return f"{begun} stretches begun; {told}"


def _result(trial: Trial) -> str:
    found = trial.analysed
    if found is None:
        return ""
    p_value = "" if found.p_value is None else f", randomisation test p = {found.p_value:.3f}"
    return (
        f"{found.verdict}; log rate ratio {found.log_rate_ratio_mean:.2f} (SD "
        f"{found.log_rate_ratio_sd:.2f}){p_value}"
    )
