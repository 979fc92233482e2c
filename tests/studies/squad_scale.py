"""Squads on a cluster: how fast, how much memory, and whether anything is ever lost.

    python -m tests.studies.squad_scale [--athletes 10 100 1000] [--pooled 100 1000] [--kills 50]

Takes about four seconds of processor time for each athlete, a minute for pooling and three for the
faults; resumes where it was stopped. Writes docs/calibration/squad-scale.md. Linux.

Athletes come from the generator of the study of squads, with half a year each, and are fitted on
two workers of this machine. What is pooled by the thousand was drawn and not fitted. Under faults,
workers hand out posteriors that were made beforehand, and take a second for each, as a fit would.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import resource
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, Final

import numpy as np

from slackwater.fitting.pooling.alone import MOST, Alone
from slackwater.fitting.pooling.pool import pool
from slackwater.fitting.squads.cluster import Where, cluster
from slackwater.fitting.squads.each import fit_each
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model import names as n
from slackwater.model.population import BY_NAME, prior_of
from slackwater.model.priors import Priors
from tests.studies.generator import TYPES
from tests.studies.pool import run_all
from tests.studies.squad_athletes import athlete
from tests.studies.squad_faults import (
    WORKERS,
    became,
    disk_full,
    run_killed,
    scheduler_killed,
    workers_killed,
    workers_of,
)
from tests.studies.squad_scale_page import page

PAGE: Final = Path(__file__).parents[2] / "docs" / "calibration" / "squad-scale.md"
NIGHTS: Final = 180
HOW: Final = {"draws": 100, "chains": 2}
TOLD: Final = 0.4  # error of what readings say of a quantity, in SDs of what is believed of one


def fits(athletes: int) -> dict[str, Any]:
    """Fit so many athletes, and say how long each took to come, and what memory was held then."""
    with tempfile.TemporaryDirectory() as place:
        squad = _made(Path(place), athletes)
        rows: list[tuple[float, float, float]] = []
        begun = time.monotonic()
        with cluster(Where(cores=WORKERS)) as opened:

            def tell(done: int, of: int) -> None:
                workers = [_mebibytes(pid) for pid in workers_of(opened)]
                rows.append((time.monotonic() - begun, _mebibytes(os.getpid()), max(workers)))

            outcomes = fit_each(squad, opened, HOW, tell)
    processor = sum(each.seconds for each in outcomes)
    return {"athletes": athletes, "rows": rows, "fitting": processor, "came": became(outcomes)}


def _made(place: Path, athletes: int) -> SquadFolder:
    for number in range(athletes):
        folder = place / f"athlete-{number:04}"
        folder.mkdir()
        for name, table in athlete(900, number, NIGHTS).tables.items():
            if not table.empty:
                table.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    return SquadFolder(place)


def _mebibytes(pid: int) -> float:
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    except OSError:
        return 0.0  # has just ended
    return pages * resource.getpagesize() / 2**20


def pooling(athletes: int) -> dict[str, Any]:
    """Pool so many athletes, and say what it took."""
    drawn = [_alone(number) for number in range(athletes)]
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    wall, processor = time.monotonic(), time.process_time()
    pooled = pool(drawn)
    return {
        "athletes": athletes,
        "seconds": time.monotonic() - wall,
        "processor": time.process_time() - processor,
        "draws": sum(each.values.nbytes for each in drawn) / 2**20,
        "before": before,
        "most": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "again": len(pooled.again),
        "noise": [float(np.median(pooled.population.means[n.NOISE_SD])), _truth(n.NOISE_SD)],
    }


def _truth(name: str) -> float:
    """Return the group's true mean of a quantity: a little off what is believed."""
    belief = prior_of(BY_NAME[name])
    return belief.mean + 0.3 * belief.sd


def _alone(number: int) -> Alone:
    """Draw an athlete's posterior, whose readings tell each quantity with the same error."""
    rng = np.random.default_rng([31, number])
    priors = Priors()
    kinds = list(TYPES)
    types = tuple(sorted(rng.choice(kinds, rng.integers(3, len(kinds) + 1), replace=False)))
    columns: list[tuple[str, str | None]] = [
        (name, None)
        for name in (
            n.NOISE_SD, n.LINGERING_ODDS, n.PERSISTENCE_ODDS, n.NOISE_TAIL, n.DRIFT_SD,
            n.SESSION_SD, n.WEEKDAY_SD, n.FIRST_NIGHT,
        )
    ]  # fmt: skip
    columns += [(name, label) for name in (n.TYPE_LOG_DIP, n.TYPE_LOG_RATE) for label in types]
    values = []
    for name, label in columns:
        belief = prior_of(BY_NAME[name])
        if label is not None:
            over = prior_of(BY_NAME[_MEANS[name]])
            belief = over._replace(sd=float(np.hypot(over.sd, belief.sd)))
        own = belief.mean + 0.3 * belief.sd + 0.5 * belief.sd * rng.standard_normal()
        error = TOLD * belief.sd
        told = own + error * rng.standard_normal()
        variance = 1 / (belief.sd**-2 + error**-2)
        mean = variance * (belief.mean / belief.sd**2 + told / error**2)
        values.append(mean + np.sqrt(variance) * rng.standard_normal(MOST))
    labels: dict[str, tuple[str, ...]] = {e.name: () for e in BY_NAME.values() if e.dim}
    labels |= {n.TYPE_LOG_DIP: types, n.TYPE_LOG_RATE: types}
    has = np.zeros((len(types), 0))
    return Alone(labels, np.stack(values, 1), tuple(columns), has, np.arange(MOST), priors)


_MEANS: Final = {n.TYPE_LOG_DIP: n.TYPE_DIP_MEAN, n.TYPE_LOG_RATE: n.TYPE_RATE_MEAN}


def main() -> None:
    """Run the study and write its page."""
    parser = argparse.ArgumentParser(description="Squads on a cluster.")
    parser.add_argument("--athletes", type=int, nargs="*", default=[10, 100, 1000], help="fitted")
    parser.add_argument("--pooled", type=int, nargs="*", default=[100, 1000], help="pooled")
    parser.add_argument("--kills", type=int, default=50, help="of workers")
    options = parser.parse_args()
    text = page(
        run_all("squad-scale-fits", fits, [(count,) for count in options.athletes], 1),
        run_all("squad-scale-pooling", pooling, [(count,) for count in options.pooled], 1),
        {
            "workers": run_all("squad-scale-workers", workers_killed, [(options.kills,)], 1)[0],
            "run": run_all("squad-scale-run", run_killed, [(2,)], 1)[0],
            "scheduler": run_all("squad-scale-scheduler", scheduler_killed, [()], 1)[0],
            "disk": run_all("squad-scale-disk", disk_full, [()], 1)[0],
        },
    )
    PAGE.write_text(text, encoding="utf-8")
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
