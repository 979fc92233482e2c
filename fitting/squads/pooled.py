"""What a squad's athletes tell together, from what each fit left in the athlete's own folder."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np

from slackwater.fitting.answers.recovery import typical_days
from slackwater.fitting.answers.support import confounded_types, session_counts
from slackwater.fitting.measures.compare import used
from slackwater.fitting.mornings import key_of
from slackwater.fitting.pooling.alone import Alone, alone_of, kept_of_each
from slackwater.fitting.pooling.pool import OfGroup, Pooled, pool
from slackwater.fitting.pooling.population_file import to_json
from slackwater.fitting.squads import under_group
from slackwater.fitting.squads.answer import Unanswered, why_not
from slackwater.fitting.squads.each import Workers
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.fitting.squads.index import (
    MEASURES,
    POPULATION,
    TYPES,
    MeasureRow,
    TypeRow,
    file_of,
    kept_draws,
)
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, QuestionError, Reason, SeasonError
from slackwater.model.population import Population, own_share

FEWEST: Final = 2


class _Kept(NamedTuple):
    """What is kept of an athlete until all were looked at."""

    folder: str
    fingerprint: str
    key: str
    last_night: str
    alone: Alone
    sessions: dict[str, int]
    days: dict[str, list[float]]
    measures: dict[str, tuple[int, int, int, int]]
    log_ratios: dict[str, list[float]]


def pool_squad(
    squad: SquadFolder,
    folders: Sequence[str],
    workers: Workers | None = None,
    how: Mapping[str, Any] | None = None,
    tell: Callable[[int, int], None] | None = None,
) -> list[Unanswered]:
    """Learn what athletes tell together, and keep it beside their folders.

    The population goes into population.json, which may be handed on: it holds no reading and no
    name. What of each athlete follows from it goes into two tables, which stay with the squad.
    Whoever the group moves further than the athlete's draws reach is fitted again under it, once
    for each state of the squad, and all are pooled again.

    Args:
        squad: the squad folder.
        folders: the athletes who were fitted.
        workers: who fits again; nobody is if left out.
        how: `draws` and `chains` of such a fit.
        tell: called with the athletes fitted again and those to be.

    Returns:
        The athletes who were left out, and why.

    Raises:
        NoAnswerError: fewer than two athletes are left.
        OSError: something cannot be written; what was there is left as it was.
    """
    kept, left_out = [], []
    for folder in folders:
        try:
            kept.append(_kept(squad, folder))
        except QuestionError as error:
            why = Reason("types meet", why=str(error))
            left_out.append(Unanswered(squad.shown[folder], (why,)))
        except (NoAnswerError, SeasonError, OSError) as error:
            left_out.append(Unanswered(squad.shown[folder], why_not(error, squad.shown[folder])))
    if len(kept) < FEWEST:
        needed = Reason("too few athletes", athletes=len(kept), needed=FEWEST)
        raise NoAnswerError(needed, *(reason for each in left_out for reason in each.why))
    pooled = pool([each.alone for each in kept])
    if workers is not None:
        state = under_group.state_of(each.fingerprint for each in kept)
        asked = [kept[place].folder for place in pooled.again]
        again = [folder for folder in asked if not under_group.done(squad, folder, state)]
        if again:
            group = pooled.population
            under_group.fit_again(squad, again, state, group, workers, how or {}, tell)
            kept = [_kept(squad, e.folder) if e.folder in again else e for e in kept]
            pooled = pool([each.alone for each in kept])
    _write(squad, kept, pooled)
    return left_out


def _write(squad: SquadFolder, kept: Sequence[_Kept], pooled: Pooled) -> None:
    rows = list(zip(kept, pooled.athletes, strict=True))
    types = file_of(TypeRow, (r for each, of in rows for r in _types(each, of, pooled.population)))
    measures = file_of(
        MeasureRow, (r for each, of in rows for r in _measures(each, of, pooled.population))
    )
    squad.write(
        {
            POPULATION: (json.dumps(to_json(pooled.population), indent=1) + "\n").encode(),
            TYPES: types,
            MEASURES: measures,
        }
    )


def _kept(squad: SquadFolder, folder: str) -> _Kept:
    athlete = squad.season(folder)
    key = key_of(athlete.path) or ""
    now = athlete.now  # refuses a fit that may not be answered from
    common = squad.settings.common
    fingerprint = athlete.posterior.fingerprint
    posterior = under_group.kept(squad, folder, fingerprint) or athlete.posterior
    types = {n.TYPE: squad.settings.types}
    most = kept_of_each(len(squad.folders))
    alone = alone_of(posterior, athlete.season, types, most=most)
    days, together = typical_days(now), confounded_types(now)
    return _Kept(
        folder,
        fingerprint,
        key,
        str(now.night),
        alone,
        sessions={common(label): count for label, count in session_counts(now).items()},
        days={
            common(label): [] if label in together else kept_draws(days[:, i])
            for i, label in enumerate(now.types)
        },
        measures={name: used(now.season.observed(), name) for name in now.interventions},
        log_ratios={name: kept_draws(now.log_ratio(name)) for name in now.interventions},
    )


def _types(each: _Kept, of: OfGroup, population: Population) -> Iterator[TypeRow]:
    rng = np.random.default_rng(0)
    values = dict(zip(each.alone.labels[n.TYPE_LOG_DIP], each.alone.type_has_value, strict=True))
    names = each.alone.labels[n.ATTRIBUTE_DIP]
    for label in of.types:
        has = [name for name, there in zip(names, values[label], strict=True) if there]
        days = of.typical_days(label)
        another = population.days_of_another(label, rng, has)
        yield TypeRow(
            each.folder,
            each.key,
            each.last_night,
            label,
            has,
            each.sessions[label],
            kept_draws(days),
            each.days[label],
            own_share(np.log(days), np.log(another)),
            of.pareto_k,
            of.again,
        )


def _measures(each: _Kept, of: OfGroup, population: Population) -> Iterator[MeasureRow]:
    rng = np.random.default_rng(0)
    for name, counts in each.measures.items():
        log_ratio = of.column(n.LOG_RATE_RATIO, name)
        another = population.another(n.LOG_RATE_RATIO, rng, name)
        yield MeasureRow(
            each.folder,
            each.key,
            each.last_night,
            name,
            *counts,
            kept_draws(log_ratio),
            each.log_ratios[name],
            own_share(log_ratio, another),
        )
