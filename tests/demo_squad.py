"""The recipe of the demo squad: run it to write demo_data/squad/ anew.

    python tests/demo_squad.py

An invented club of twelve who row, lift and run hills, ten weeks each up to one morning in May.
They are drawn from one population, whose truth is kept in truth.json. Some of it is there to be
found: a newcomer of fifteen nights, one who ran hills but twice, one whose lifting takes far
longer than the others', one who calls hill runs by another name, one who was not read lately, and
a measure that some of them use.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from slackwater.model.simulator import Impulse, Simulated, Truth, plan_season, simulate

SQUAD_DATA: Final = Path(__file__).parents[1] / "demo_data" / "squad"
SEED: Final = 20310505
LAST_MORNING: Final = pd.Timestamp("2031-05-12")
NIGHTS: Final = 70
REST: Final = 6
MEASURE: Final = "river dip"
# Typical dips and half-lives of a typical athlete, and how athletes differ (SD of the logarithm).
TYPES: Final = {
    "steady row": Impulse(0.13, 1.0),
    "row intervals": Impulse(0.26, 1.2),
    "heavy lifting": Impulse(0.22, 1.7),
    "hill run": Impulse(0.30, 1.5),
}
DIP_SD, RATE_SD, RATIO, RATIO_SD = 0.20, 0.20, 1.5, 0.15
ROWS, LIFTS, HILLS = ("steady row", "row intervals"), ("heavy lifting",), ("hill run",)


class Member(NamedTuple):
    """One of the club.

    Attributes:
        name: the athlete's name, invented; its folder's in small letters.
        types: what the athlete does.
        nights: nights logged, to the last morning.
        uses: whether the athlete uses the measure, every other week.
        rests: days without a session before the last morning, at least.
    """

    name: str
    types: tuple[str, ...]
    nights: int = NIGHTS
    uses: bool = False
    rests: int = 1


NEW, RARE, UNLIKE, OTHER_WORDS, NOT_READ = "Lena", "Jonas", "Emil", "Hugo", "Clara"
CLUB: Final = (
    Member("Ada", (*ROWS, *LIFTS), uses=True, rests=5),
    Member("Bruno", (*ROWS, *HILLS), rests=6),
    Member("Clara", (*ROWS, *LIFTS)),
    Member("David", (*LIFTS, *HILLS), uses=True),
    Member("Emil", (*ROWS, *LIFTS), uses=True),
    Member("Flora", ROWS, uses=True, rests=4),
    Member("Greta", (*LIFTS, *HILLS)),
    Member("Hugo", (*ROWS, *HILLS), uses=True),
    Member("Ines", (*ROWS, *LIFTS, *HILLS), rests=5),
    Member("Jonas", (*ROWS, *HILLS)),
    Member("Karl", (*LIFTS, *HILLS), uses=True, rests=3),
    Member("Lena", (*ROWS, *LIFTS), nights=15),
)


def truth_of(member: Member, rng: np.random.Generator) -> Truth:
    """Return what one of the club is like, drawn from the population."""
    slower = {"heavy lifting": 1.4} if member.name == UNLIKE else {}
    deeper = {"heavy lifting": 1.8} if member.name == UNLIKE else {}
    types = {
        label: Impulse(
            each.dip * np.exp(DIP_SD * rng.standard_normal()) * deeper.get(label, 1.0),
            each.half_life_days * np.exp(RATE_SD * rng.standard_normal()) * slower.get(label, 1.0),
        )
        for label, each in TYPES.items()
    }
    return Truth(
        baseline_ms=float(np.exp(rng.normal(np.log(62), 0.2))),
        types=types,
        start=Impulse(0.12, 2.0),
        rate_ratios={MEASURE: float(RATIO * np.exp(RATIO_SD * rng.standard_normal()))},
        noise_sd=float(0.10 * np.exp(0.15 * rng.standard_normal())),
        drift_sd=0.006,
        session_sd=0.2,
    )


def season_of(member: Member, truth: Truth, rng: np.random.Generator) -> Simulated:
    """Return a member's season, up to the club's last morning."""
    days = pd.date_range(end=LAST_MORNING, periods=member.nights).to_numpy()
    missed = rng.choice(np.arange(1, len(days) - 4), size=len(days) // 18, replace=False)
    read = np.setdiff1d(np.arange(len(days)), missed)
    if member.name == NOT_READ:
        read = read[:-4]
    rows = sessions_of(member, days, rng)
    weeks = range(1, len(days) // 7, 2) if member.uses else ()
    applied = [(days[7 * week + k], MEASURE) for week in weeks for k in range(7)]
    plan = plan_season(
        member.name,
        pd.DataFrame({"date": days[read]}),
        pd.DataFrame(rows, columns=["date", "type"]).astype({"date": "datetime64[ns]"}),
        interventions=pd.DataFrame(applied, columns=["date", "intervention"]).astype(
            {"date": "datetime64[ns]"}
        ),
    )
    return simulate(truth, plan, rng)


def sessions_of(member: Member, days: Any, rng: np.random.Generator) -> list[tuple[Any, str]]:
    """Return a member's sessions, one to four days apart after some days of rest."""
    rows: list[tuple[Any, str]] = []
    queue: list[str] = []
    day = 4 if member.name == NEW else REST
    rare = {3 * len(days) // 10, 7 * len(days) // 10}
    while day < len(days) - member.rests:
        queue = queue or list(rng.permutation(member.types))
        label = queue.pop()
        if member.name == RARE and label == "hill run":
            label = "row intervals"
        rows.append((days[day], label))
        day += int(rng.choice([1, 2, 3, 3, 4]))
    if member.name == RARE:
        rows = [
            (date, "hill run") if i in _near(rows, days, rare) else (date, label)
            for i, (date, label) in enumerate(rows)
        ]
    return rows


def _near(rows: list[tuple[Any, str]], days: Any, at: set[int]) -> set[int]:
    """Return the places of the sessions next to some days."""
    dates = np.array([date for date, _ in rows])
    return {int(np.abs(dates - days[day]).argmin()) for day in at}


def write(folder: Path) -> None:
    """Write the club's folders, its squad.toml and its truth."""
    rng = np.random.default_rng(SEED)
    truths = {}
    for member in CLUB:
        truth = truth_of(member, rng)
        tables = season_of(member, truth, rng).season.tables()
        readings = tables["readings"].rename(columns={"log_rmssd": "rmssd_ms"})
        readings["rmssd_ms"] = np.exp(readings["rmssd_ms"]).round(1)
        sessions = tables["sessions"][["date", "type"]]
        if member.name == OTHER_WORDS:
            sessions = sessions.replace({"type": {"hill run": "long hills"}})
        written = {"readings": readings[["date", "rmssd_ms"]], "sessions": sessions}
        if member.uses:
            written["interventions"] = tables["interventions"]
        own = folder / member.name.lower()
        own.mkdir(parents=True, exist_ok=True)
        for name, table in written.items():
            text = table.to_csv(index=False, date_format="%Y-%m-%d", lineterminator="\n")
            (own / f"{name}.csv").write_text(text, encoding="utf-8")
        truths[member.name.lower()] = {  # rounded: the last digits differ by processor
            "typical_days": {
                k: round(v, 4) for k, v in truth.typical_days().items() if k in member.types
            },
            "rate_ratio": round(truth.rate_ratios[MEASURE], 4) if member.uses else None,
        }
    shown = "\n".join(f'{member.name.lower()} = "{member.name}"' for member in CLUB)
    (folder / "squad.toml").write_text(
        f'name = "Weir club"\n\n[types]\n"long hills" = "hill run"\n\n[athletes]\n{shown}\n',
        encoding="utf-8",
    )
    told = {
        "made_by": "python tests/demo_squad.py",
        "seed": SEED,
        "typical_athlete": {
            "types": {k: i._asdict() for k, i in TYPES.items()},
            "rate_ratio": RATIO,
        },
        "spread": {"log_dip": DIP_SD, "log_rate": RATE_SD, "log_rate_ratio": RATIO_SD},
        "athletes": truths,
    }
    (folder / "truth.json").write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write(SQUAD_DATA)
