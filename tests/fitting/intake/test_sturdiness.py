"""Whatever stands in the folder, the answer is a season or problems; and it is quick to load."""

from __future__ import annotations

import subprocess
import sys
import unicodedata
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from slackwater.fitting.intake import check_season

CSV_PARTS = """date rmssd_ms ln_rmssd type note , ; " 2026-01-05 2026-01-06 50 3.9 -1 50,5 row"""
TOML_PARTS = (
    """[csv] [columns.types] [[csv]] name separator encoding = " ; 1 {} [] utf-16 idna type"""
)


def near(parts: str) -> st.SearchStrategy[bytes]:
    """Draw the parts of a file in any order, with line ends and odd characters among them."""
    part = st.sampled_from([*parts.split(), "\n", "\r", " ", "\x1b", "\ufeff", "\0", "\x85"])
    return st.lists(part, max_size=30).map(lambda drawn: "".join(drawn).encode())


ANY_BYTES = st.binary(max_size=60)
NEAR_CSV = near(CSV_PARTS)
NEAR_TOML = near(TOML_PARTS)


@given(
    readings=ANY_BYTES | NEAR_CSV,
    types=ANY_BYTES | NEAR_CSV,
    toml=st.just(b"") | ANY_BYTES | NEAR_TOML,
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_content_is_answered(
    tmp_path: Path, readings: bytes, types: bytes, toml: bytes
) -> None:
    (tmp_path / "readings.csv").write_bytes(readings)
    (tmp_path / "types.csv").write_bytes(types)
    (tmp_path / "season.toml").write_bytes(toml)
    check = check_season(tmp_path)
    assert (check.season is None) == bool(check.problems)
    for problem in check.problems:
        assert problem.line >= 1
        assert problem.column >= 1
        assert not any(unicodedata.category(c) in {"Cc", "Zl", "Zp"} for c in str(problem))


def test_loading_the_intake_loads_nothing_heavy() -> None:
    code = "import sys, slackwater.fitting.intake; print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(run.stdout.split())
    assert "slackwater.fitting.intake" in loaded
    assert not loaded & {"pymc", "pytensor", "arviz", "arviz_stats", "numba", "scipy", "matplotlib"}
