"""Names of dimensions and variables, each written once and used everywhere.

Two halves: the season (what was observed) and the posterior (what was learnt).
"""

from __future__ import annotations

from typing import Final

# Dimensions of a season.
NIGHT: Final = "night"
SESSION: Final = "session"
TYPE: Final = "type"
SENSOR: Final = "sensor"
INTERVENTION: Final = "intervention"
STRESSOR: Final = "stressor"
STRESSOR_DAY: Final = "stressor_day"
ATTRIBUTE: Final = "attribute"

# Variables of a season.
LOG_RMSSD: Final = "log_rmssd"
READING_LN_SD: Final = "reading_ln_sd"
NIGHT_SENSOR: Final = "night_sensor"
SESSION_DATE: Final = "session_date"
SESSION_TYPE: Final = "session_type"
DOSE: Final = "dose"
TYPE_ATTRIBUTE: Final = "type_attribute"
APPLIED: Final = "applied"
STRESSOR_DATE: Final = "stressor_date"
STRESSOR_LABEL: Final = "stressor_label"
NEW_LEVEL: Final = "new_level"  # days from whose morning on readings lie at another level

# Further dimensions of the model and its posterior.
READING: Final = "reading"
GROUP: Final = "group"  # what dips the state, in the design's order
START: Final = "unlogged start"
UNLOGGED: Final = "perhaps not logged"
UNLOGGED_NIGHT: Final = "unlogged_night"  # on which a session may be felt that nobody logged
UNEXPLAINED: Final = "unexplained"
STATE_TOO: Final = "state_too"  # a second time, for covariances
STATE: Final = "state"  # of the level: what stays, what passes, what is unexplained
ATTRIBUTE_VALUE: Final = "attribute_value"
OTHER_SENSOR: Final = "other_sensor"
WEEKDAY: Final = "weekday"
WEEKDAYS: Final = (
    "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday",
)  # fmt: skip
HALF_YEAR: Final = "half_year"  # steps back from the last night, see trend
CHAIN: Final = "chain"
DRAW: Final = "draw"

# Priors that the posterior's file keeps, since the filter starts from them.
BASELINE_PRIOR_MEAN: Final = "baseline_prior_mean"
BASELINE_PRIOR_SD: Final = "baseline_prior_sd"

# Parameters. Units: ln = natural-log units of RMSSD.
NOISE_SD: Final = "noise_sd"  # night-to-night SD of an ordinary night, ln
LINGERING_ODDS: Final = "lingering_odds"  # of noise's variance: what lingers over what does not
PERSISTENCE_ODDS: Final = "persistence_odds"  # of what lingers: kept over lost in a night
NOISE_TAIL: Final = "noise_tail"  # SD of a night's log noise variance
NIGHT_SCALE: Final = "night_scale"  # per night, standard normal; see likelihood
DRIFT_SD: Final = "drift_sd"  # baseline random walk, ln per night
SESSION_SD: Final = "session_sd"  # session-to-session scatter of log dip
FIRST_NIGHT: Final = "first_night"  # share of a session's dip that its first night shows
TYPE_DIP_MEAN: Final = "type_dip_mean"  # mean over types of log dip
TYPE_DIP_SD: Final = "type_dip_sd"
TYPE_LOG_DIP: Final = "type_log_dip"  # log of a type's typical dip at dose 1
TYPE_RATE_MEAN: Final = "type_rate_mean"  # mean over types of log recovery rate
TYPE_RATE_SD: Final = "type_rate_sd"
TYPE_RATE_Z: Final = "type_rate_z"
TYPE_LOG_RATE: Final = "type_log_rate"  # log of recovery rate, 1/day
ATTRIBUTE_DIP_SD: Final = "attribute_dip_sd"
ATTRIBUTE_DIP: Final = "attribute_dip"  # effect of an attribute value on log dip
ATTRIBUTE_RATE_SD: Final = "attribute_rate_sd"
ATTRIBUTE_RATE: Final = "attribute_rate"  # effect of an attribute value on log rate
SESSION_Z: Final = "session_z"  # standard normal, per session
START_DIP: Final = "start_dip"  # unlogged dip on the first night, ln
START_LOG_RATE: Final = "start_log_rate"
UNLOGGED_DIP: Final = "unlogged_dip"  # what may have been forgotten, felt first on a night, ln
STRESSOR_LOG_DIP: Final = "stressor_log_dip"
STRESSOR_LOG_RATE: Final = "stressor_log_rate"
STRESSOR_Z: Final = "stressor_z"  # standard normal, per stressor day
LOG_RATE_RATIO: Final = "log_rate_ratio"  # log of rate with over without a measure
LIFT: Final = "lift"  # what a measure adds to the reading of a night of its use, ln
TYPE_MID_LOG_DIP: Final = "type_mid_log_dip"  # type_log_dip plus the sessions' mean trend
DIP_TREND_SD: Final = "dip_trend_sd"  # SD of one step of the types' log dip, half a year back
DIP_TREND_Z: Final = "dip_trend_z"  # standard normal, per step
RATE_TREND_SD: Final = "rate_trend_sd"  # the same of all log recovery rates
RATE_TREND_Z: Final = "rate_trend_z"
WEEKDAY_SD: Final = "weekday_sd"  # SD of what a day of the week adds to its readings, ln
WEEKDAY_Z: Final = "weekday_z"  # standard normal, per day of the week
SENSOR_STEP: Final = "sensor_step"  # other sensor minus the latest one, ln
