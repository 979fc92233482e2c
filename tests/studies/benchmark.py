"""Speed, as ratios measured side by side in one run, on the demo season.

    python -m tests.studies.benchmark [--seeds 10] [--write docs/benchmark.md]

Compares a `slackwater fit`, as a whole process with warm caches, with the textbook
statement of the same model sampled by `pm.sample`, also as a whole process, and times
each answering command and each answer (see `tests.studies.starts`). Prints a table;
`--write` puts it into a page.
"""

from __future__ import annotations

import argparse
import json
import platform
import resource
import subprocess
import sys
import tempfile
import time
from importlib import import_module
from importlib.metadata import version
from pathlib import Path
from typing import Any

from tests.studies import starts

ROOT = Path(__file__).parents[2]
DRAWS, CHAINS = 1000, 4
TEXTBOOK_DRAWS, TEXTBOOK_CHAINS = 500, 2  # and as much warm-up: one run takes long enough


def main() -> None:
    """Run the benchmark, or one of its parts in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seeds", type=int, default=10, help="fits to count divergences in")
    parser.add_argument("--write", type=Path, help="page to write the table into")
    parser.add_argument("--part", nargs=3, metavar=("WHAT", "FOLDER", "SEED"))
    options = parser.parse_args()
    if options.part:
        what, folder, seed = options.part
        part = {"fit": _fit_part, "textbook": _textbook_part, "compiled": _compiled_part}[what]
        sys.stdout.write(json.dumps(part(Path(folder), int(seed))) + "\n")
        return
    with tempfile.TemporaryDirectory() as folder:
        page = _compare(Path(folder), options.seeds)
    sys.stdout.write(page)
    if options.write:
        options.write.write_text(page, encoding="utf-8")


def _compare(folder: Path, seeds: int) -> str:
    from slackwater.fitting.demo import copy_demo

    copy_demo(folder)
    _process("fit", folder, 0)  # fills the caches of compiled code
    _process("compiled", folder, 0)
    textbook = _process("textbook", folder, 1)
    fits = [_process("fit", folder, seed) for seed in range(1, seeds + 1)]
    fit = sorted(fits, key=lambda f: f["process_s"])[len(fits) // 2]
    return _page(fits, fit, textbook, starts.page(folder))


def _process(what: str, folder: Path, seed: int) -> dict[str, Any]:
    module = [sys.executable, "-m", "tests.studies.benchmark"]
    command = [*module, "--part", what, str(folder), str(seed)]
    begun = time.perf_counter()
    done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT)
    result: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return result | {"process_s": time.perf_counter() - begun}


def _fit_part(folder: Path, seed: int) -> dict[str, Any]:
    """Do what `slackwater fit` does, with a clock between the steps."""
    clock = [time.perf_counter()]

    def lap() -> float:
        clock.append(time.perf_counter())
        return clock[-1] - clock[-2]

    times = {}
    import nutpie

    from slackwater.fitting.intake import read_season

    fitting: Any = import_module("slackwater.fitting.sampling.fit")

    times["import"] = lap()
    season = read_season(folder)
    times["read"] = lap()
    laps: dict[str, float] = {}
    compile_model, build_model, sample = fitting.compile_model, fitting.build_model, nutpie.sample

    def timed(name: str, call: Any) -> Any:
        def run(*args: Any, **kwargs: Any) -> Any:
            begun = time.perf_counter()
            result = call(*args, **kwargs)
            laps[name] = laps.get(name, 0.0) + time.perf_counter() - begun
            return result

        return run

    fitting.compile_model = timed("compile", compile_model)
    fitting.build_model = timed("build", build_model)
    fitting.nutpie.sample = timed("sample", sample)
    fitting.check = timed("check", fitting.check)
    posterior = fitting.fit(season, seed=seed, draws=DRAWS, chains=CHAINS)
    whole = lap()
    times |= laps | {"rest of fit": whole - sum(laps.values())}
    posterior.save(folder)
    times["write"] = lap()
    checks = posterior.checks
    return {
        "times": times,
        "ess": checks.worst_bulk_ess,
        "rhat": checks.worst_rhat,
        "divergences": checks.divergences,
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def _compiled_part(folder: Path, seed: int) -> dict[str, Any]:
    """Fill the caches of compiled code with what the textbook's run needs."""
    return _textbook_part(folder, seed, draws=4)


def _textbook_part(folder: Path, seed: int, *, draws: int = TEXTBOOK_DRAWS) -> dict[str, Any]:
    import arviz_stats
    import pymc as pm

    from slackwater.fitting.intake import read_season
    from tests.studies.textbook import textbook_model

    begun = time.perf_counter()
    with textbook_model(read_season(folder)):
        result = pm.sample(
            draws,
            tune=draws,
            chains=TEXTBOOK_CHAINS,
            cores=2,
            nuts_sampler="pymc",
            random_seed=seed,
            progressbar=False,
            compute_convergence_checks=False,
        )
    tree = result if not hasattr(result, "to_datatree") else result.to_datatree()
    stats = tree["sample_stats"].to_dataset()
    seconds = float(stats.attrs["sampling_time"])
    ess = arviz_stats.ess(tree["posterior"].to_dataset(), method="bulk")
    return {
        "times": {"sample": seconds, "all": time.perf_counter() - begun},
        "ess": min(float(v.min()) for v in ess.data_vars.values() if v.size),
        "divergences": int(stats["diverging"].sum()),
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def _page(
    fits: list[dict[str, Any]],
    fit: dict[str, Any],
    textbook: dict[str, Any],
    answers: str,
) -> str:
    def rate(run: dict[str, Any]) -> float:
        return float(run["ess"] / run["times"]["sample"])

    clean = sum(f["divergences"] == 0 for f in fits)
    converged = sum(f["rhat"] < 1.01 for f in fits)
    steps = ", ".join(f"{name} {seconds:.2f} s" for name, seconds in fit["times"].items())
    rows = [
        ("sampling", f"{fit['times']['sample']:.1f} s", f"{textbook['times']['sample']:.1f} s"),
        ("lowest bulk ESS", f"{fit['ess']:.0f}", f"{textbook['ess']:.0f}"),
        ("lowest bulk ESS per second", f"{rate(fit):.0f}", f"{rate(textbook):.1f}"),
        ("divergences", str(fit["divergences"]), str(textbook["divergences"])),
        ("whole process", f"{fit['process_s']:.1f} s", f"{textbook['process_s']:.1f} s"),
        ("peak memory", f"{fit['peak_mib']:.0f} MiB", f"{textbook['peak_mib']:.0f} MiB"),
    ]
    table = "\n".join(f"| {a} | {b} | {c} |" for a, b, c in rows)
    return f"""# Speed

Written by `python -m tests.studies.benchmark`, Python {platform.python_version()}, PyMC \
{version("pymc")}, nutpie {version("nutpie")}, the demo season, warm caches. The median of \
{len(fits)} fits ({CHAINS} chains of {DRAWS} draws) stands beside one run of the same model, its \
parameters, priors and data, stated as a textbook would ({TEXTBOOK_CHAINS} chains of \
{TEXTBOOK_DRAWS} draws and as much warm-up, one on each core). Its \
transient is a dense matrix of nights by nights, which a scan or a banded solver would make \
cheaper: the ratio is to the plain statement, not to the best one.

| | slackwater | textbook statement, `pm.sample` |
| --- | --- | --- |
{table}

- Lowest bulk ESS per second: **{rate(fit) / rate(textbook):.0f} times** the textbook's.
- Without divergence: {clean} of {len(fits)} seeds; R-hat under 1.01: {converged} of {len(fits)}.
- Where a fit's time goes: {steps}.

{answers}
"""


if __name__ == "__main__":
    main()
