"""The season: what goes in, what is refused, what its readings can show, and its clock."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.design import design_of, other_sensors
from slackwater.model.errors import SeasonError
from slackwater.model.season import LEAD_IN_DAYS, Season
from tests.model.seasons import MISSED, NIGHTS, season, table, tables

Tables = dict[str, pd.DataFrame]


def day(text: str) -> np.datetime64:
    return np.datetime64(text, "D")


def frame(**columns: object) -> pd.DataFrame:
    """Return a table whose `date` column is read as dates."""
    out = pd.DataFrame(columns)
    return out.assign(date=pd.to_datetime(out["date"])) if "date" in out else out


def two_readings(**columns: object) -> pd.DataFrame:
    return frame(date=["2031-03-01", "2031-03-04"], rmssd_ms=[60.0, 58.0], **columns)


def test_a_full_season() -> None:
    spring = season()
    assert spring.name == "spring"
    assert spring.types == ["easy paddle", "row intervals", "heavy lifting"]
    assert spring.attributes == ["mode", "effort"]
    assert spring.interventions == ["river dip", "beet juice"]  # by first use
    assert spring.stressors == ["head cold"]
    assert spring.sensors == ["finger clip", "chest strap"]
    assert (spring.first_night, spring.last_night) == (day("2031-03-01"), day("2031-03-20"))
    assert np.flatnonzero(~spring.read).tolist() == MISSED
    ms = table("readings")["rmssd_ms"]
    np.testing.assert_allclose(np.exp(spring.data[n.LOG_RMSSD].values[spring.read]), ms)
    assert spring.data[n.LOG_RMSSD].attrs["units"] == "ln ms"
    assert spring.data[n.DOSE].values.tolist() == [1.0, 1.0, 1.2, 0.5, 1.0, 1.0, 1.5]


def test_readings_alone_are_a_season() -> None:
    alone = Season.from_tables("alone", two_readings())
    assert alone.nights.tolist() == [day(f"2031-03-0{d}").item() for d in (1, 2, 3, 4)]
    assert alone.read.tolist() == [True, False, False, True]
    assert alone.sensors == ["sensor"]
    assert alone.types == alone.attributes == alone.interventions == alone.stressors == []
    assert alone.session_nights().shape == alone.stressor_nights().shape == (0,)
    assert alone.applied().shape == (0, 4)


def test_log_readings_are_taken_as_they_are() -> None:
    ms, ln = two_readings(), two_readings().rename(columns={"rmssd_ms": "log_rmssd"})
    ln["log_rmssd"] = np.log(ms["rmssd_ms"])
    same = Season.from_tables("ms", ms), Season.from_tables("ln", ln)
    assert same[0].fingerprint() == same[1].fingerprint()


def test_types_without_a_row_follow_those_with_one_by_name() -> None:
    spring = season(types=frame(type=["row intervals"], mode=["row"]))
    assert spring.types == ["row intervals", "easy paddle", "heavy lifting"]
    assert spring.data[n.TYPE_ATTRIBUTE].values.tolist() == [["row"], [""], [""]]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"readings": frame(date=[], rmssd_ms=[])}, "needs at least one reading"),
        (
            {"readings": frame(date=["2031-03-01"] * 2, rmssd_ms=[60.0, 61.0])},
            r"same reading stands twice \(2031-03-01\); keep one",
        ),
        ({"readings": frame(date=["2031-03-01"], rmssd_ms=[0.0])}, "must be above 0 ms"),
        ({"readings": frame(date=["2031-03-01"], rmssd_ms=[np.nan])}, "leave out missing nights"),
        ({"readings": frame(date=["2031-03-01"], rmssd_ms=[np.inf])}, "not a finite number"),
        ({"readings": frame(date=[None], rmssd_ms=[60.0])}, "a reading has no date"),
        ({"sessions": frame(date=["2031-03-02"], type=["hills"], dose=[0.0])}, "above 0; 1 is"),
        ({"sessions": frame(date=["2031-03-02"], type=["hills"], dose=[np.inf])}, "be finite"),
        ({"sessions": frame(date=[None], type=["hills"])}, "a session has no date"),
        ({"sessions": frame(date=["2031-03-02"], type=[None])}, "no type; name it"),
        ({"types": frame(type=["hills", "hills"])}, r"same type stands twice \(hills\)"),
        (
            {"interventions": frame(date=["2031-03-02"] * 2, intervention=["river dip"] * 2)},
            r"same intervention stands twice \(2031-03-02 river dip\)",
        ),
        ({"interventions": frame(date=["2031-03-02"], intervention=[""])}, "no intervention"),
        (
            {"stressors": frame(date=["2031-03-02"] * 2, stressor=["head cold"] * 2)},
            r"same stressor stands twice \(2031-03-02 head cold\)",
        ),
        ({"stressors": frame(date=[None], stressor=["head cold"])}, "a stressor has no date"),
    ],
)
def test_what_makes_no_sense_is_refused(changes: Tables, message: str) -> None:
    with pytest.raises(SeasonError, match=message):
        season(**changes)


def test_two_sessions_of_one_type_on_one_day_are_two() -> None:
    twice = frame(date=["2031-03-02"] * 2, type=["easy paddle"] * 2)
    assert season(sessions=twice).session_nights().tolist() == [2, 2]


def test_the_clock() -> None:
    """Dated the 2nd, felt on the night that ends on the 3rd: index 2 from the 1st on."""
    spring = season()
    assert spring.session_nights().tolist() == [2, 5, 5, 8, 11, 14, 17]
    assert spring.stressor_nights().tolist() == [12, 13]
    acts = dict(zip(spring.interventions, spring.applied(), strict=True))
    assert np.flatnonzero(acts["river dip"]).tolist() == [3, 9]
    assert np.flatnonzero(acts["beet juice"]).tolist() == [6]
    later = spring.applied(np.array([day("2031-03-10"), day("2031-03-11")]))
    assert later.tolist() == [[True, False], [False, False]]


@pytest.mark.parametrize(
    ("logged", "first"),
    [
        ("2031-03-01", "2031-03-01"),
        ("2031-02-28", "2031-03-01"),
        ("2031-02-24", "2031-02-25"),
        ("2031-01-01", "2031-02-15"),
    ],
)
@pytest.mark.parametrize("column", ["type", "stressor"])
def test_the_axis_leads_in_with_what_was_logged_before(
    column: str, logged: str, first: str
) -> None:
    log = frame(date=[logged], **{column: ["hills"]})
    before = Season.from_tables(
        "early", two_readings(), **{"sessions" if column == "type" else "stressors": log}
    )
    assert before.first_night == day(first)
    assert day("2031-03-01") - before.first_night <= np.timedelta64(LEAD_IN_DAYS, "D")
    assert before.nights[before.read].tolist() == [day(f"2031-03-0{d}").item() for d in (1, 4)]


def test_what_no_reading_can_show_is_left_out() -> None:
    """The last reading is the 20th's: what is dated the 19th is the last it can show."""
    dates = ["2031-01-01", "2031-02-14", "2031-03-19", "2031-03-20", "2031-03-25"]
    spring = season(
        sessions=frame(date=dates, type=["long ago", "first", "last", "too late", "later"]),
        interventions=frame(date=dates[2:], intervention=["river dip", "beet juice", "beet juice"]),
        stressors=frame(date=dates[2:], stressor=["travel", "head cold", "head cold"]),
    )
    seen = spring.observed()
    assert seen.first_night == spring.first_night == day("2031-02-15")
    assert seen.types == ["first", "last"]  # with the types' rows of those not done
    assert seen.session_nights().tolist() == [0, len(seen.nights) - 1]
    assert (seen.interventions, seen.stressors) == (["river dip"], ["travel"])
    assert seen.observed().fingerprint() == seen.fingerprint()


@pytest.mark.parametrize(
    ("night", "last"), [("2031-03-12", "2031-03-11"), ("2031-03-11", "2031-03-11")]
)
def test_through_a_night_is_the_season_as_it_stood_then(night: str, last: str) -> None:
    """Nothing was read on the 12th and 13th, so a session of the 11th shows in no reading yet."""
    spring = season(
        sessions=pd.concat(
            [table("sessions"), frame(date=["2031-03-10"], type=["hill run"], dose=[1.0])]
        )
    )
    then = spring.through(day(night))
    assert then.last_night == day(last)
    dates = then.data[n.SESSION_DATE].values.astype("datetime64[D]")
    assert dates.max() == day("2031-03-10")
    assert "hill run" in then.types
    assert then.stressors == []
    assert then.sensors == ["finger clip", "chest strap"]
    np.testing.assert_array_equal(
        then.data[n.LOG_RMSSD], spring.data[n.LOG_RMSSD][: len(then.nights)]
    )


def test_through_a_night_before_the_first_reading_is_refused() -> None:
    with pytest.raises(SeasonError, match="'spring' has no reading by 2031-02-28"):
        season().through(day("2031-02-28"))


@pytest.mark.parametrize("night", [str(d.date()) for d in NIGHTS])
def test_every_event_of_what_is_seen_lies_on_the_axis(night: str) -> None:
    """The likelihood writes by these numbers into memory, so none may lie beyond it."""
    seen = season().through(day(night))
    first = design_of(seen).event_nights
    assert np.all((first >= 0) & (first < len(seen.nights)))


def test_readings_taken_away_take_their_events_along() -> None:
    spring = season()
    shorter = np.where(np.arange(len(NIGHTS)) < 10, spring.data[n.LOG_RMSSD].values, np.nan)
    seen = spring.with_readings(shorter).observed()
    assert seen.last_night == day("2031-03-10")
    assert design_of(seen).event_nights.max() < len(seen.nights)
    assert seen.fingerprint() == spring.through(day("2031-03-10")).fingerprint()


def test_with_readings_changes_nothing_else() -> None:
    spring = season()
    values = np.full(len(NIGHTS), 4.0)
    other = spring.with_readings(values)
    values[0] = 9.0
    assert other.data[n.LOG_RMSSD].values.tolist() == [4.0] * len(NIGHTS)
    assert other.data[n.LOG_RMSSD].attrs == spring.data[n.LOG_RMSSD].attrs
    restored = other.with_readings(spring.data[n.LOG_RMSSD].values)
    assert restored.fingerprint() == spring.fingerprint()


def test_arrays_are_read_only() -> None:
    spring = season()
    for name, values in spring.data.data_vars.items():
        with pytest.raises(ValueError, match=r"read-only|view"):
            values.values[...] = values.values.copy()
        assert not values.values.flags.writeable, name
    with pytest.raises(AttributeError):
        spring.name = "autumn"  # type: ignore[misc]


def test_tables_given_are_left_alone_and_not_kept() -> None:
    given = {key: t for key, t in tables().items() if t is not None}
    readings, copies = given["readings"], {key: t.copy() for key, t in given.items()}
    built = season(**given)
    for key, before in copies.items():
        pd.testing.assert_frame_equal(given[key], before)
    stood = built.fingerprint()
    readings.loc[0, "rmssd_ms"] = 99.0
    given["sessions"].loc[0, "dose"] = 9.0
    assert built.fingerprint() == stood


def test_a_season_is_rebuilt_from_its_tables() -> None:
    spring = season()
    again = Season.from_tables("again", **spring.tables())
    assert again.fingerprint() == spring.fingerprint()
    pd.testing.assert_frame_equal(again.data.night.to_dataframe(), spring.data.night.to_dataframe())


def test_fingerprint_leaves_out_the_name_and_the_order_of_rows() -> None:
    backwards = {key: t.iloc[::-1] for key, t in tables().items() if t is not None}
    readings = backwards.pop("readings")
    other = Season.from_tables("autumn", readings, **backwards)
    assert other.fingerprint() == season().fingerprint()


def _changed_cells() -> list[tuple[str, str, int]]:
    found = [(key, t) for key, t in tables().items() if t is not None]
    return [(key, str(column), row) for key, t in found for column in t for row in (0, len(t) - 1)]


@pytest.mark.parametrize(("key", "column", "row"), _changed_cells())
def test_fingerprint_tells_any_cell(key: str, column: str, row: int) -> None:
    changed = table(key)
    cells = changed[column].tolist()
    new: dict[str, Callable[[], object]] = {
        "date": lambda: pd.Timestamp("2031-02-20"),
        "rmssd_ms": lambda: cells[row] + 1e-9,
        "dose": lambda: 1.0001,
    }
    cells[row] = new.get(column, lambda: "another")()
    changed[column] = cells
    assert season(**{key: changed}).fingerprint() != season().fingerprint()


def test_how_exactly_a_reading_was_measured_belongs_to_its_night() -> None:
    given = table("readings")
    given["ln_sd"] = np.append(0.07, np.full(len(given) - 1, np.nan))
    made = season(readings=given)
    kept = made.data[n.READING_LN_SD].values
    assert kept[made.read][0] == 0.07
    assert kept.sum() == 0.07
    assert (season().data[n.READING_LN_SD].values == 0).all()
    assert made.fingerprint() != season().fingerprint()
    assert made.observed().tables()["readings"]["ln_sd"].tolist()[0] == 0.07
    given["ln_sd"] = -0.1
    with pytest.raises(SeasonError, match="ln_sd must be 0 or more"):
        season(readings=given)


def test_fingerprint_tells_a_row_more_or_less() -> None:
    prints = {season().fingerprint()}
    for key in tables():
        prints.add(season(**{key: table(key).iloc[1:]}).fingerprint())
    assert len(prints) == 1 + len(tables())


def test_the_latest_sensor_is_the_reference() -> None:
    spring = season()
    design = design_of(spring.observed())
    assert other_sensors(spring) == ["finger clip"]
    by_clip: NDArray[np.bool_] = table("readings")["sensor"].to_numpy() == "finger clip"
    np.testing.assert_array_equal(design.by_sensor[:, 0], by_clip)


def test_a_shared_attribute_pools_and_a_lone_one_does_not() -> None:
    """`mode` and `effort` are shared by two types each; `place` has a value a type."""
    types = table("types").assign(place=["lake", "river", "gym"], season="spring")
    design = design_of(season(types=types).observed())
    assert design.attribute_values == ["mode: row", "mode: lift", "effort: easy", "effort: hard"]
    np.testing.assert_array_equal(design.type_has_value, [[1, 0, 1, 0], [1, 0, 0, 1], [0, 1, 0, 1]])
