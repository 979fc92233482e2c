"""What is believed before any reading, with units and a source or a reason each.

Scale parameters have log-normal priors, which keep away from 0: half-normal ones let the
sampler fall into the narrow funnel where a scale vanishes. `docs/model.md` shows what
these priors allow; a test holds that against the published recovery times.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from math import log
from typing import Final, NamedTuple

from slackwater.model import names as n

LN_2: Final = log(2.0)


class Belief(NamedTuple):
    """A normal prior, on the quantity's own scale or on its natural log.

    Attributes:
        mean: prior mean (for a positive quantity: of its log).
        sd: prior standard deviation on the same scale.
    """

    mean: float
    sd: float


def around(median: float, log_sd: float) -> Belief:
    """Return a log-normal belief about a positive quantity, by its median."""
    return Belief(log(median), log_sd)


@dataclass(frozen=True)
class Priors:
    """Every prior of the model. Rates are 1/day, dips and steps ln units.

    Attributes:
        baseline: baseline on the first night, ln ms. Wider than the 19 to 75 ms of short
            daytime recordings in Nunan, Sandercock & Brodie 2010, since athletes at night
            reach well beyond it: 95 % between 15 and 160 ms.
        drift_sd: baseline's random walk, ln per night. Half a year at the median moves
            it by about 11 %; a training season moves it by some 10 to 20 % (common
            practice, no source).
        noise_sd: night-to-night SD of an ordinary night, what lingers included, ln. Typical
            error of resting ln RMSSD is about 12 % (Buchheit 2014, Table 1); single readings
            reach 0.3.
        lingering_odds: of the noise's variance, what lingers over what does not; at the median a
            quarter lingers, with four in five between a twentieth and two thirds. A reason, no
            source: sleep, food and mood of one day reach into the next, a sensor's error does not.
        persistence_odds: of what lingers, kept over lost in a night: at the median half, four in
            five between three and seven tenths, so that it is gone within a week. What stays
            longer is baseline's drift or unexplained. A reason, no source.
        noise_tail: SD of a night's log noise variance; 0.5 makes one night in 20 about
            1.5 times as noisy as an ordinary one, in SD. A reason, no source.
        type_dip: mean over types of a typical session's log dip. 0.15 is a reading 14 %
            under baseline on the first morning.
        type_dip_sd: SD of log dip over types: types differ by a factor of 1.6 or so,
            and hard against easy by more (Thamm et al. 2019: -0.34 against -1.01 ln).
        type_rate: mean over types of log rate; half-life 1.3 days, so that a 0.15 dip is
            under a threshold of 0.06 on the third morning (Stanley, Peake & Buchheit
            2013: 24 to 48 h after threshold work, 48 h and more after hard work).
        type_rate_sd: SD of log rate over types.
        session_sd: session-to-session scatter of log dip within a type.
        first_night: share of a session's dip that its first night shows: 1 where the dip
            decays from the start; less where it is deepest later, more where a part of
            it passes within a day. Delayed and two-part recoveries are both described
            (Stanley, Peake & Buchheit 2013), so neither is ruled out.
        attribute_dip_sd: SD of an attribute value's effect on log dip.
        attribute_rate_sd: SD of an attribute value's effect on log rate.
        unlogged_dip: what may have been forgotten, felt first on one night of a gap in the log that
            is longer than usual: mostly nothing, on one night in ten 0.14 and more, as a session.
            A reason, no source.
        start_dip: unlogged dip on the first night; most people start to log while tired.
        start_rate: its rate; accumulated tiredness recovers more slowly than one session.
        stressor_dip: a stressor's log dip, one day of it.
        stressor_rate: its rate.
        dip_trend_sd: SD of the change of all types' log dip over half a year, in longer seasons
            alone: a sixth deeper or shallower is much; a reason, no source.
        rate_trend_sd: the same of all recovery rates.
        log_rate_ratio: log of recovery rate with over without an intervention: centred on
            no effect; one measure in six is beyond 1.5 times as fast, or as slow.
        lift: what an intervention adds to the reading of a night of its use, ln, whether or not
            there is anything to recover from: two in three measures move a night by 5 % or less,
            either way. A reason, no source: cold or a late drink act on the night's heart rate
            by themselves.
        weekday_sd: SD of what a day of the week adds to its readings, ln: at the median, weekends
            that lie 7 % lower or higher than other days are usual. A reason, no source: late
            nights, drink and travel keep to the week.
        new_level: what baseline moves by where a new level is announced, ln.
        unexplained: what the log does not explain moves the level by, when it begins, ln. A
            reason, no source: a week of illness takes a quarter to a half of RMSSD.
        unexplained_rate: the rate at which such a thing passes, 1/day; half-life 5 days, with
            four in five between 2 and 12. A reason, no source.
        sensor_step: what another sensor reads more than the latest, ln: one in three differs by
            more than 20 %.
    """

    baseline: Belief = Belief(3.9, 0.6)
    drift_sd: Belief = around(0.008, 0.7)
    noise_sd: Belief = around(0.12, 0.5)
    lingering_odds: Belief = around(1 / 3, 1.2)
    persistence_odds: Belief = around(1.0, 0.65)
    noise_tail: Belief = around(0.5, 0.5)
    type_dip: Belief = around(0.15, 0.5)
    type_dip_sd: Belief = around(0.5, 0.4)
    type_rate: Belief = around(LN_2 / 1.3, 0.4)
    type_rate_sd: Belief = around(0.3, 0.4)
    session_sd: Belief = around(0.25, 0.5)
    first_night: Belief = around(1.0, 0.4)
    attribute_dip_sd: Belief = around(0.25, 0.5)
    attribute_rate_sd: Belief = around(0.15, 0.5)
    unlogged_dip: Belief = around(0.02, 1.5)
    start_dip: Belief = around(0.1, 1.0)
    start_rate: Belief = around(LN_2 / 2.5, 0.5)
    stressor_dip: Belief = around(0.15, 0.7)
    stressor_rate: Belief = around(LN_2 / 1.5, 0.5)
    dip_trend_sd: Belief = around(0.08, 0.7)
    rate_trend_sd: Belief = around(0.06, 0.7)
    log_rate_ratio: Belief = Belief(0.0, 0.3)
    lift: Belief = Belief(0.0, 0.05)
    weekday_sd: Belief = around(0.03, 0.7)
    new_level: Belief = Belief(0.0, 0.3)
    unexplained: Belief = Belief(0.0, 0.25)
    unexplained_rate: Belief = around(LN_2 / 5.0, 0.7)
    sensor_step: Belief = Belief(0.0, 0.2)

    def __post_init__(self) -> None:
        """Refuse a prior without width.

        Raises:
            ValueError: a standard deviation is not above 0.
        """
        for field in fields(Priors):
            if not getattr(self, field.name).sd > 0:
                raise ValueError(f"The prior {field.name!r} needs a standard deviation above 0.")

    def of(self, quantity: str, label: str) -> Belief | None:
        """Return what is believed of one label's quantity apart from all others'; here nothing.

        Args:
            quantity: a parameter with a value for each label, such as `type_log_dip`.
            label: a type, attribute value, intervention or stressor.
        """
        return None

    def log_rate_ratio_of(self, measure: str) -> Belief:
        """Return what is believed of one intervention's log rate ratio."""
        return self.of(n.LOG_RATE_RATIO, measure) or self.log_rate_ratio

    def lift_of(self, measure: str) -> Belief:
        """Return what is believed of one intervention's lift, ln."""
        return self.of(n.LIFT, measure) or self.lift


class LabelBelief(NamedTuple):
    """What is believed of one label's quantity.

    Attributes:
        quantity: the parameter.
        label: the type, attribute value, intervention or stressor.
        belief: of the quantity; of a type, as a deviation from the mean over types and what its
            attributes add; of an attribute value, in standard deviations of its kind.
    """

    quantity: str
    label: str
    belief: Belief


@dataclass(frozen=True)
class GroupPriors(Priors):
    """What is believed of an athlete by a group that knows some types, measures or others by name.

    Attributes:
        labels: what is believed of each label; whatever is not named here is believed as in any
            season.
    """

    labels: tuple[LabelBelief, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a prior without width.

        Raises:
            ValueError: a standard deviation is not above 0.
        """
        super().__post_init__()
        for each in self.labels:
            if not each.belief.sd > 0:
                raise ValueError(f"The prior of {each.label!r} needs a standard deviation above 0.")

    def of(self, quantity: str, label: str) -> Belief | None:
        """Return what is believed of one label's quantity, None where nothing is of its own."""
        return self._known.get((quantity, label))

    @cached_property
    def _known(self) -> dict[tuple[str, str], Belief]:
        return {(each.quantity, each.label): each.belief for each in self.labels}
