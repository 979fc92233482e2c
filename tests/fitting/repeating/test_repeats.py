"""Repeats of a type: each session's own recovery, agreement, mornings after, and how many more."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from numpy.typing import ArrayLike
from rich.console import Console, Group
from scipy import integrate, linalg, optimize, stats
from statsmodels.tsa.arima_process import ArmaProcess

from slackwater.fitting import Athlete, recovery, repeats
from slackwater.fitting.repeating.more_sessions import (
    Baseline,
    TypeDraws,
    expected_widths,
    interval_width,
    simulated_session,
    weigh_session,
    weighed_widths,
)
from slackwater.fitting.repeating.narrowing import NEXT_FEW, type_draws, widths_after
from slackwater.fitting.repeating.repeats import Repeats, TypeRepeats
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.report.terminal.repeats import text
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.priors import Belief
from slackwater.model.season import Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import CHAINS, FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_athlete, whole_posterior
from tests.fitting.conftest import Fitted, run

NIGHTS = 40
LN_2 = np.log(2)


def told(
    fitted: Season, known: Known, z: ArrayLike = 0.0, *, now: Season | None = None, draws: int = 500
) -> Athlete:
    """Return an athlete made by hand, with the fitted sessions' standard scores.

    z is one number, one a session, or one a draw and session.
    """
    scores = np.broadcast_to(np.asarray(z, float), (CHAINS * draws, _count(fitted)))
    scores = scores.reshape(CHAINS, draws, -1)
    return Athlete(now or fitted, whole_posterior(fitted, known, draws, scores))


def _count(fitted: Season) -> int:
    return int(fitted.observed().data.sizes[n.SESSION])


def days_of(athlete: Athlete) -> list[float]:
    days = athlete.own_recovery.days
    assert days.max(axis=0) == pytest.approx(days.min(axis=0))  # every draw says the same
    return [float(d) for d in days[0]]


def row_of(answer: Repeats, label: str) -> TypeRepeats:
    (row,) = (row for row in answer.types if row.type == label)
    return row


def printed(answer: Repeats) -> str:
    screen = io.StringIO()
    Console(file=screen, width=80, highlight=False).print(Group(*text(answer)))
    return screen.getvalue()


# Each session's own recovery. The threshold is 0.05 ln, so a dip of 0.4 with a half-life of 2
# days is back after three half-lives and the first night: 7 days.

ROW = Known({"row": (0.4, 2.0)}, session_sd=LN_2)


def test_own_days_follow_the_session_s_own_dip_and_dose() -> None:
    season = by_hand.season(NIGHTS, [(1, "row"), (12, "row"), (24, "row")], doses={12: 0.5})
    athlete = told(season, ROW, z=[0.0, 0.0, 1.0])
    assert days_of(athlete) == pytest.approx([7, 5, 9])  # half the dip: a half-life less
    dips = athlete.own_recovery.first_night_dips[0]
    assert dips == pytest.approx([0.4, 0.2, 0.8])


def test_a_dip_already_under_the_threshold_is_back_with_the_first_reading() -> None:
    season = by_hand.season(NIGHTS, [(1, "row")], doses={1: 0.1})
    assert days_of(told(season, ROW)) == pytest.approx([1.0])


def test_what_the_first_night_holds_back_counts_in_the_days_and_not_in_its_dip() -> None:
    season = by_hand.season(NIGHTS, [(1, "row")])
    athlete = told(season, ROW._replace(first_night=0.5))  # the first night shows 0.4 of 0.8
    assert days_of(athlete) == pytest.approx([9.0])
    assert athlete.own_recovery.first_night_dips[0] == pytest.approx([0.4])


@pytest.mark.parametrize(
    ("applied", "days"),
    [
        # 6 nights at the usual rate. Logged on a day, a measure acts on the night after it; the
        # session's first night is its own.
        ([], 7.0),
        ([1], 7.0),
        ([2], 6.0),  # 2 + 1 + 1 + 1 + 1
        ([2, 3], 5.0),
        ([2, 3, 4], 4.0),
        ([6], 6.0),  # four nights, then the two that are left in one
        ([7], 6.5),  # five nights, then the one that is left in half of one
        ([8, 9, 10], 7.0),
    ],
)
def test_measures_logged_on_the_nights_after_shorten_it(applied: list[int], days: float) -> None:
    season = by_hand.season(NIGHTS, [(1, "row")], interventions=[(d, "bath") for d in applied])
    known = ROW._replace(rate_ratios={"bath": 2.0} if applied else {})
    assert days_of(told(season, known)) == pytest.approx([days])


def test_measures_logged_ahead_of_the_last_reading_count() -> None:
    applied = [(day, "bath") for day in range(NIGHTS, NIGHTS + 3)]
    season = by_hand.season(NIGHTS, [(1, "row"), (NIGHTS - 2, "row")], interventions=applied)
    known = ROW._replace(rate_ratios={"bath": 2.0})
    # First night is the last one read; one night at 1, then 2 + 2, and half a night.
    assert days_of(told(season, known)) == pytest.approx([7, 1 + 1 + 2 + 0.5])


def test_a_recovery_far_beyond_the_nights_looked_at_goes_on_at_the_usual_rate() -> None:
    season = by_hand.season(NIGHTS, [(NIGHTS - 2, "row")])
    assert days_of(told(season, Known({"row": (0.4, 40.0)}))) == pytest.approx([121.0])


def test_what_comes_before_it_is_over_is_named() -> None:
    # 7 days each; days 1 and 8 do not meet, 20 and 26 do, 33 and 34 do, 33 is felt with the cold.
    days = [1, 8, 20, 26, 33]
    season = by_hand.season(
        NIGHTS, [(d, "row") for d in days] + [(33, "lift")], stressors=[(9, "cold")]
    )
    known = Known({"row": (0.4, 2.0), "lift": (0.04, 1.0)}, {"cold": (0.2, 1.0)}, session_sd=1e-12)
    own = told(season, known).own_recovery
    found = {
        (int((date - FIRST).astype(int)), str(kind)): by
        for date, kind, by in zip(own.dates, own.types, own.disturbed_by, strict=True)
    }
    assert found == {
        (1, "row"): "",
        (8, "row"): "cold",
        (20, "row"): "row",
        (26, "row"): "",
        (33, "row"): "lift",
        (33, "lift"): "row",
    }
    assert list(own.disturbed_after) == pytest.approx([np.nan, 1, 6, np.nan, 0, 0], nan_ok=True)
    assert list(own.over) == [True, True, True, True, True, False]  # sorted by type on one day


def test_a_session_on_the_day_it_is_back_does_not_disturb() -> None:
    season = by_hand.season(NIGHTS, [(1, "row"), (2, "row")])
    own = told(season, Known({"row": (0.04, 1.0)}, session_sd=1e-12)).own_recovery
    assert own.days.max() == 1.0
    assert own.disturbed_by == ["", ""]


def test_a_session_logged_after_the_fit_disturbs_and_is_said_to_be_missing() -> None:
    fitted = by_hand.season(NIGHTS, [(1, "row"), (NIGHTS - 3, "row")])
    logged = by_hand.season(NIGHTS, [(1, "row"), (NIGHTS - 3, "row"), (NIGHTS - 1, "row")])
    athlete = told(fitted, ROW, now=logged)
    assert athlete.own_recovery.disturbed_by == ["", "row"]
    answer = repeats(athlete)
    assert sum(len(row.each) for row in answer.types) == 2
    assert Reason("latest sessions not listed", count=1) in answer.about.warnings


def test_draws_that_new_mornings_chose_keep_their_own_sessions() -> None:
    size = CHAINS * 500
    tail = np.random.default_rng(4).permutation(np.linspace(0.3, 0.7, size))  # tells draws apart
    level = np.random.default_rng(5).normal(4.0, 0.05, size)
    known = ROW._replace(level=level, level_variance=1e-4, noise_tail=tail)
    fitted = by_hand.season(30, [(1, "row")])
    longer = by_hand.season(readings=[4.0] * 30 + [4.04] * 3, sessions=[(1, "row")])
    athlete = told(fitted, known, z=(10 * (tail - 0.5))[:, None], now=longer)
    kept = athlete.now.parameter(n.NOISE_TAIL)
    assert len(np.unique(kept)) < 0.9 * size
    assert athlete.own_recovery.scatter[:, 0] == pytest.approx(LN_2 * 10 * (kept - 0.5))


# Agreement, and the mornings after.


def test_the_scatter_of_a_type_is_that_of_its_own_sessions() -> None:
    types = {"row": (0.4, 2.0), "lift": (0.4, 2.0), "run": (0.4, 2.0)}
    season = by_hand.season(
        NIGHTS, [(1, "row"), (9, "lift"), (17, "row"), (25, "lift"), (32, "run")]
    )
    answer = repeats(told(season, Known(types, session_sd=0.5), z=[1.0, 0.0, -1.0, 0.0, 2.0]))
    middle = {row.type: row.scatter_factor.median for row in answer.types}
    assert middle["row"] == pytest.approx(np.exp(0.5))
    assert middle["lift"] == pytest.approx(1.0)
    assert np.isnan(middle["run"])  # done once
    assert "done once" in printed(answer)
    assert answer.session_factor.median == pytest.approx(np.exp(0.5))
    row = row_of(answer, "row")
    half_lives = np.log2(0.4 / 0.05) + np.array([-0.5, 0.5]) / LN_2
    assert row.own_days_of_sessions.shortest == pytest.approx(1 + 2 * half_lives[0])
    assert row.own_days_of_sessions.longest == pytest.approx(1 + 2 * half_lives[1])


def rowed(slow: float, seed: int = 1) -> Athlete:
    """An athlete who rows every ninth day, a part of whose dip passes at a tenth of the speed.

    The posterior has one speed, that which best fits the dip's course over a week.
    """
    days = range(3, 30 * 9, 9)
    season = by_hand.season(30 * 9 + 4, [(d, "row") for d in days])
    rng = np.random.default_rng(seed)
    level = 4.0 + 0.02 * rng.standard_normal(len(season.nights))
    night = np.arange(7)
    course = 0.3 * ((1 - slow) * 0.5 ** (night / 0.8) + slow * 0.5 ** (night / 8.0))
    for day in days:
        level[day + 1 : day + 8] -= course[: len(level) - day - 1]
    (height, half_life), _ = optimize.curve_fit(lambda x, a, h: a * 0.5 ** (x / h), night, course)
    known = Known({"row": (height, half_life)}, noise_sd=0.02, drift_sd=1e-3, session_sd=0.05,
                  noise_tail=1e-6)  # fmt: skip
    return whole_athlete(season.with_readings(level), known, prior=Belief(4.0, 0.05))


def test_two_speeds_show_on_the_mornings_after() -> None:
    found = repeats(rowed(0.4))
    spans = {(at.first_night, at.last_night): at for at in row_of(found, "row").after}
    assert any(at.departs for at in spans.values())
    assert Reason("recovers otherwise", types=["row"]) in found.about.warnings
    assert "row, 1st morning" in printed(found)
    # A session's own dip decays at its type's rate whatever the readings do, so that each was
    # back by the day on which its type is: this could never have shown it.
    row = row_of(found, "row")
    assert all(each.days.median == pytest.approx(row.typical_days.median) for each in row.each)


def test_one_speed_shows_nothing_there() -> None:
    departed = [
        any(at.departs for at in row_of(repeats(rowed(0.0, seed)), "row").after)
        for seed in range(3)
    ]
    assert departed == [False] * 3


# How many more.


def spread(log_sd: float, draws: int = 4000, **known: float) -> TypeDraws:
    """Draws that know all of a type but its typical dip, which is spread evenly by quantiles."""
    usual = {
        "dip": 0.3, "first_night": 1.0, "rate": 0.5, "threshold": 0.005, "noise_sd": 0.01,
        "lingering": 0.0, "persistence": 0.5, "session_sd": 0.05, "drift_sd": 1e-6,
        "level_variance": 1e-10, "age": 0.0,
    }  # fmt: skip
    fields = {key: np.full(draws, value) for key, value in (usual | known).items()}
    normal = stats.norm.ppf((np.arange(draws) + 0.5) / draws)
    fields["dip"] = fields["dip"] * np.exp(log_sd * np.random.default_rng(1).permutation(normal))
    never = np.zeros((draws, 0))
    return TypeDraws(**fields, dip_steps=never, rate_steps=never)


def width_of(sd: float, level: float, rate: float) -> float:
    return float(2 * stats.norm.ppf((1 + level) / 2) * sd / rate)


@pytest.mark.parametrize("level", [0.8, 0.5])
def test_expected_width_against_the_conjugate_normal_closed_form(level: float) -> None:
    # Each session shows the log dip with variance session_sd^2 + 1 / information of its
    # readings; precisions add (normal mean, known variance: Gelman et al. 2013, Bayesian Data
    # Analysis, section 2.5). Days are linear in the log dip, with slope 1 / rate.
    prior, counts = 0.06, (1, 4, 16)
    draws = spread(prior)
    course = np.exp(-0.5 * np.arange(7))
    one = 0.05**2 + 0.01**2 / (0.3**2 * (course**2).sum())
    exact = [width_of((prior**-2 + k / one) ** -0.5, level, 0.5) for k in counts]
    assert interval_width(draws, level) == pytest.approx(width_of(prior, level, 0.5), rel=0.002)
    found = expected_widths(draws.thinned(2000), counts, 12, level, np.random.default_rng(2))
    assert list(found) == pytest.approx(exact, rel=0.02)


def test_a_recovery_that_changes_against_the_normal_closed_form() -> None:
    # Log dips now, and what each half year adds to them, are normal; each session shows their sum
    # as it is by then, and the days asked for are those after the last (linear normal model:
    # Gelman et al. 2013, section 14.8).
    prior, step_sd, counts = 0.06, 0.05, (1, 8, 40)
    draws = spread(prior)._replace(
        age=np.full(4000, 30.0),
        dip_steps=step_sd * np.random.default_rng(3).standard_normal((4000, 2)),
        rate_steps=np.zeros((4000, 2)),
    )
    course = np.exp(-0.5 * np.arange(7))
    one = 0.05**2 + 0.01**2 / (0.3**2 * (course**2).sum())

    def weights(nights: float) -> list[float]:
        half_years = (30 + nights) / 182
        return [1.0, min(half_years, 1.0), max(half_years - 1.0, 0.0)]

    exact = []
    for count in counts:
        seen = np.array([weights(7 * session) for session in range(count)])
        precision = np.diag([prior**-2, step_sd**-2, step_sd**-2]) + seen.T @ seen / one
        asked = np.array(weights(7 * count))
        exact.append(width_of(np.sqrt(asked @ np.linalg.solve(precision, asked)), 0.8, 0.5))
    found = expected_widths(draws, counts, 24, 0.8, np.random.default_rng(2))
    assert list(found) == pytest.approx(exact, rel=0.05)
    assert exact[2] > 1.5 * width_of((prior**-2 + 40 / one) ** -0.5, 0.8, 0.5)


def test_one_session_against_published_arithmetic_of_repeated_trials() -> None:
    # Variance of an effect from n people, k cycles each: (psi2 + 2 sigma2 / k) / n; 0.0083333 for
    # n 12, k 3, psi2 0.04, sigma2 0.09 (Senn 2019, Statistics in Medicine 28:372-383; from
    # memory). One session is one person: its dip has variance psi2, and baseline and dip are
    # read k times each. All scaled by 0.1, where a dip's log is as good as linear.
    scale, k = 0.1, 3
    one = 12 * 0.0083333 * scale**2
    draws = spread(
        0.03, dip=1.0, rate=1e-6, session_sd=0.2 * scale, noise_sd=0.3 * scale,
        level_variance=0.09 * scale**2 / k,
    )  # fmt: skip
    log_density, _ = weigh_session(
        draws, Baseline(np.zeros((1, 4000)), draws.level_variance), np.full((1, k), -1.0)
    )
    weight = np.exp(log_density[0] - log_density.max())
    log_dip = np.log(draws.dip)
    mean = np.average(log_dip, weights=weight)
    variance = np.average((log_dip - mean) ** 2, weights=weight)
    assert variance == pytest.approx(1 / (0.03**-2 + 1 / one), rel=0.01)


def test_readings_of_many_sessions_against_one_big_normal() -> None:
    # Without scatter the readings of all weeks are one multivariate normal, whose covariance is
    # that of a random walk from an uncertain start, and of noise with a first-order
    # autoregression in it that starts anew every week (scipy.stats.multivariate_normal).
    rng = np.random.default_rng(5)
    draws = TypeDraws(
        dip=rng.uniform(0.1, 0.5, 6), first_night=rng.uniform(0.6, 1.4, 6),
        rate=rng.uniform(0.3, 1.0, 6), threshold=np.full(6, 0.05),
        noise_sd=rng.uniform(0.05, 0.15, 6),
        lingering=rng.uniform(0.1, 0.7, 6), persistence=rng.uniform(0.2, 0.8, 6),
        session_sd=np.full(6, 1e-7), drift_sd=rng.uniform(0.005, 0.03, 6),
        level_variance=rng.uniform(0.02, 0.05, 6) ** 2, age=np.zeros(6),
        dip_steps=np.zeros((6, 0)), rate_steps=np.zeros((6, 0)),
    )  # fmt: skip
    truth = draws.chosen(np.tile(draws.evenly(2), 2))
    known = Baseline(np.zeros((4, 6)), draws.level_variance)
    level, weeks, found = np.zeros(4), [], np.zeros((4, 6))
    for _ in range(3):
        readings, level = simulated_session(truth, level, rng, 7)
        density, known = weigh_session(draws, known, readings)
        weeks.append(readings)
        found += density
    every = np.concatenate(weeks, axis=1)
    nights = np.arange(1, 22)
    exact = np.empty((4, 6))
    for s in range(6):
        walk = draws.drift_sd[s] ** 2 * np.minimum(nights[:, None], nights)
        week = linalg.toeplitz(draws.lingering[s] * draws.persistence[s] ** np.arange(7))
        np.fill_diagonal(week, 1.0)
        noise = draws.noise_sd[s] ** 2 * linalg.block_diag(week, week, week)
        covariance = walk + draws.level_variance[s] + noise
        shown = np.exp(-draws.rate[s] * np.arange(7))
        shown[0] *= draws.first_night[s]
        mean = -draws.dip[s] * np.tile(shown, 3)
        exact[:, s] = stats.multivariate_normal(mean, covariance).logpdf(every)
    # The constant left out is the same for all truths and draws.
    assert found - exact == pytest.approx(np.full((4, 6), (found - exact)[0, 0]), abs=1e-3)


def test_simulated_noise_lingers_as_statsmodels_says() -> None:
    # Autocovariance of noise with a first-order autoregression in it: statsmodels' ArmaProcess.
    many = spread(
        0.0, 40_000, dip=1e-12, noise_sd=0.1, lingering=0.6, persistence=0.7, level_variance=0.0
    )
    readings, _ = simulated_session(many, np.zeros(40_000), np.random.default_rng(8), 7)
    lingering = ArmaProcess([1, -0.7]).acovf(7) * 0.6 * (1 - 0.7**2)
    expected = linalg.toeplitz(0.01 * (lingering + 0.4 * (np.arange(7) == 0)))
    error = 5 * 0.01 * np.sqrt(2 / 20_000)  # the second half mirrors the first
    np.testing.assert_allclose(readings.T @ readings / 40_000, expected, atol=error)


def test_noise_that_lingers_teaches_less() -> None:
    rng = np.random.default_rng
    widths = [
        expected_widths(
            spread(0.3, 800, noise_sd=0.08, lingering=share, persistence=0.8), (8,), 12, 0.8, rng(2)
        )[0]
        for share in (0.0, 0.6)
    ]
    assert widths[1] > 1.1 * widths[0]


def test_a_session_s_scatter_is_summed_out_as_quadrature_does() -> None:
    draws = spread(0.3, draws=8, session_sd=0.3, noise_sd=0.06, level_variance=0.03**2)
    rng = np.random.default_rng(6)
    readings, _ = simulated_session(draws.chosen(np.tile(draws.evenly(2), 2)), np.zeros(4), rng, 7)
    found, _ = weigh_session(draws, Baseline(np.zeros((4, 8)), draws.level_variance), readings)
    covariance = 0.06**2 * np.eye(7) + 0.03**2
    course = np.exp(-0.5 * np.arange(7))
    exact = np.empty((4, 8))
    z = np.linspace(-8.0, 8.0, 2001)
    for s, dip in enumerate(draws.dip):
        means = -dip * np.exp(0.3 * z)[:, None] * course
        for t, y in enumerate(readings):
            density = stats.multivariate_normal(np.zeros(7), covariance).pdf(y - means)
            exact[t, s] = np.log(integrate.simpson(stats.norm.pdf(z) * density, x=z))
    assert found - exact == pytest.approx(np.full((4, 8), (found - exact)[0, 0]), abs=0.01)


def test_weighed_widths_are_those_of_repeated_draws() -> None:
    rng = np.random.default_rng(7)
    days = rng.gamma(4.0, 1.0, 800)
    times = rng.integers(1, 4, 800)
    found = weighed_widths(days, np.log(times)[None], 0.8)[0]
    low, high = np.quantile(np.repeat(days, times), [0.1, 0.9], method="hazen")
    assert found == pytest.approx(high - low, abs=0.03)


def test_fewer_draws_keep_the_width() -> None:
    rng = np.random.default_rng(8)
    draws = spread(0.3)._replace(rate=np.exp(rng.normal(-0.7, 0.3, 4000)))
    assert interval_width(draws.thinned(500), 0.8) == pytest.approx(
        interval_width(draws, 0.8), rel=0.01
    )


def unsure(half_life: float = 2.0, log_sd: float = 0.06, draws: int = 500) -> Known:
    """Two types of the same dip; the days of the first are known, of the second they are not."""
    rates = np.exp(log_sd * stats.norm.ppf((np.arange(CHAINS * draws) + 0.5) / (CHAINS * draws)))
    lift = half_life * np.random.default_rng(0).permutation(rates)
    return Known(
        {"row": (0.4, half_life), "lift": (0.4, lift)},
        noise_sd=0.02,
        drift_sd=0.002,
        session_sd=0.05,
    )


ROWS = [(1, "row"), (9, "lift"), (17, "row"), (25, "row"), (33, "lift")]


def test_a_range_narrower_than_a_day_needs_no_more_and_is_not_proposed() -> None:
    answer = repeats(told(by_hand.season(NIGHTS + 5, ROWS), unsure()))
    row, lift = row_of(answer, "row"), row_of(answer, "lift")
    assert row.more_needed == 0
    assert row.width_days == pytest.approx(0, abs=1e-9)
    assert lift.width_days > 1
    assert lift.more_needed is not None
    assert 0 < lift.more_needed <= 64
    expected = dict(lift.expected_width_days)
    assert expected[lift.more_needed] < 1
    assert all(width >= 1 for more, width in expected.items() if more < lift.more_needed)
    assert answer.repeat_next == "lift"
    assert lift.gain_days == pytest.approx(lift.narrowing_days * 2 / 5)


def test_what_it_pays_to_repeat_a_type_is_told_with_its_numbers() -> None:
    answer = repeats(told(by_hand.season(NIGHTS + 5, ROWS), unsure()))
    pays, lift = answer.repeat_next_pays, row_of(answer, "lift")
    assert pays is not None
    assert pays.sessions == NEXT_FEW
    assert pays.width_days == lift.width_days
    assert pays.narrowing_days == lift.narrowing_days
    assert pays.narrowing_days == pytest.approx(
        (lift.width_days - dict(lift.expected_width_days)[NEXT_FEW]) / NEXT_FEW
    )
    assert pays.share_of_sessions == 2 / 5
    told_alone = repeats(told(by_hand.season(NIGHTS + 5, ROWS), unsure()), "row")
    assert told_alone.repeat_next_pays == pays
    assert f"the next {NEXT_FEW} undisturbed" in " ".join(printed(answer).split())


def test_nothing_is_proposed_where_every_range_is_narrow() -> None:
    answer = repeats(told(by_hand.season(NIGHTS + 5, ROWS), unsure(log_sd=1e-3)))
    assert answer.repeat_next is None
    assert answer.repeat_next_pays is None
    assert "No type needs repeating" in printed(answer)


def test_more_than_was_looked_at_is_said_so() -> None:
    noisy = unsure(half_life=4.0, log_sd=0.8)._replace(noise_sd=0.3, drift_sd=0.1)
    noisy = noisy._replace(types={k: (0.5, h) for k, (_, h) in noisy.types.items()})
    answer = repeats(told(by_hand.season(NIGHTS + 5, ROWS), noisy), "lift")
    assert row_of(answer, "lift").more_needed is None
    assert as_object(answer)["types"][0]["more_needed"] is None
    assert "more than 64" in printed(answer)


def test_more_sessions_narrow_the_range_further() -> None:
    answer = repeats(told(by_hand.season(NIGHTS + 5, ROWS), unsure()))
    lift = row_of(answer, "lift")
    _, last = lift.expected_width_days[-1]
    assert last < 0.9 * lift.width_days


def test_a_season_that_grows_longer_than_half_a_year_lets_recovery_change() -> None:
    noisy = unsure()._replace(noise_sd=0.03, drift_sd=0.003, session_sd=0.1)
    athlete = told(by_hand.season(NIGHTS + 5, ROWS), noisy)
    # 45 nights, and 19 weeks more: half a year.
    counts = (4, 16, 24, 48)
    known = type_draws(athlete.now, "lift")
    widths = widths_after(athlete.now, "lift", known, counts, 0.8, np.random.default_rng(1))
    assert list(widths) == list(counts)
    assert widths[4] > widths[16]
    assert widths[24] > 1.2 * widths[16]


# What is asked wrongly, and what is refused.


def test_one_type_alone() -> None:
    answer = repeats(told(by_hand.season(NIGHTS + 5, ROWS), unsure()), "row")
    assert [row.type for row in answer.types] == ["row"]
    assert len(answer.types[0].each) == 3
    assert "lift is the one that it would pay most to repeat next" in printed(answer)


def test_an_unknown_type_is_named_with_those_there_are() -> None:
    with pytest.raises(QuestionError, match="Did you mean 'lift'"):
        repeats(told(by_hand.season(NIGHTS + 5, ROWS), unsure()), "lifts")


def test_types_always_trained_together_are_refused() -> None:
    sessions = [(1, "row"), (1, "lift"), (12, "row"), (12, "lift"), (24, "run")]
    known = Known({"row": (0.4, 2.0), "lift": (0.4, 2.0), "run": (0.4, 2.0)})
    athlete = told(by_hand.season(NIGHTS, sessions), known)
    answer = repeats(athlete)
    why = Reason("always the same days", types=["lift", "row"])
    assert [row.type for row in answer.types] == ["run"]
    assert {row.type: row.why for row in answer.refused} == {"row": why, "lift": why}
    with pytest.raises(NoAnswerError) as caught:
        repeats(athlete, "lift")
    assert caught.value.reasons == (why,)


def test_a_season_without_sessions_has_no_repeats() -> None:
    with pytest.raises(NoAnswerError) as caught:
        repeats(by_hand.athlete_of(by_hand.season(NIGHTS), Known()))
    assert caught.value.reasons == (Reason("no session shown"),)


def test_a_type_never_left_alone_is_warned_of() -> None:
    season = by_hand.season(NIGHTS, [(1, "row"), (3, "lift"), (20, "row"), (22, "lift")])
    known = Known({"row": (0.4, 2.0), "lift": (0.1, 1.0)}, session_sd=1e-9)
    warnings = repeats(told(season, known)).about.warnings
    assert Reason("never left undisturbed", types=["row"]) in warnings


# On the demo season.


def sessions_in(body: dict[str, Any]) -> Sequence[dict[str, Any]]:
    return [each for kind in body["types"] for each in kind["each"]]


def test_the_demo_season_as_json(demo: Fitted, demo_athlete: Athlete) -> None:
    ran = run("repeats", demo.folder, "--json")
    assert ran.status == 0, ran.err
    body = json.loads(ran.out)
    assert {"schema", "season", "last_night", "level", "warnings"} <= body.keys()
    each = sessions_in(body)
    assert len(each) == demo.season.observed().data.sizes[n.SESSION]
    assert all(s["days"]["low"] <= s["days"]["median"] <= s["days"]["high"] for s in each)
    assert body["repeat_next"] in [kind["type"] for kind in body["types"]]
    by_recovery = recovery(demo_athlete).types
    for kind in body["types"]:
        typical = by_recovery["typical_days"].sel(type=kind["type"])
        assert kind["typical_days"]["median"] == float(typical.sel(bound="median"))
        assert {at["first_night"] for at in kind["after"]} <= {1, 2, 3}
        assert all(at["by_chance"]["low"] <= at["value"]["median"] for at in kind["after"])


def test_the_demo_season_on_a_plain_screen(demo: Fitted) -> None:
    ran = run("repeats", demo.folder, "--type", "hill run", "--details")
    assert ran.status == 0, ran.err
    assert all(len(line) <= 80 for line in ran.out.splitlines())
    assert "hill run, each session:" in ran.out
    assert "\x1b" not in ran.out
    assert "how you feel" in ran.out.lower()


def test_own_dips_find_the_demo_s_scatter(demo_athlete: Athlete) -> None:
    # Made with a scatter of 0.22 (tests/demo_season.py), a factor of 1.25.
    factor = repeats(demo_athlete, level=0.98).session_factor
    assert factor.low < np.exp(0.22) < factor.high
