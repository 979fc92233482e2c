"""Compare a built wheel with the checkout: `python check_wheel.py WHEEL CHECKOUT`.

CI runs it on a wheel built from the sdist. A wheel without code or without data files builds and
installs with no complaint, so only its list of files shows that it is whole.
"""

from __future__ import annotations

import sys
import zipfile
from fnmatch import fnmatch
from pathlib import Path

PACKAGED = ("model", "fitting", "demo_data")
METADATA = {"METADATA", "RECORD", "WHEEL", "entry_points.txt", "licenses/docs/LICENSE"}


def expected_files(checkout: Path, dist_info: str) -> set[str]:
    """Return the names that a whole wheel of this checkout has."""
    packaged = {
        f"slackwater/{path.relative_to(checkout).as_posix()}"
        for folder in PACKAGED
        for path in (checkout / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    return packaged | {f"{dist_info}/{name}" for name in METADATA}


def main(wheel: Path, checkout: Path) -> None:
    """Exit with a message that names the files unless the wheel holds exactly what it should."""
    distribution, version = wheel.name.split("-")[:2]
    expected = expected_files(checkout, f"{distribution}-{version}.dist-info")
    needs = ("model/*.typed", "fitting/*.typed", "fitting/cli.py", "fitting/*.j2")
    for needed in (*needs, "demo_data/*.csv"):
        if not any(fnmatch(name, f"slackwater/{needed}") for name in expected):
            sys.exit(f"{checkout}: no {needed}, so no wheel built from it can be whole")
    found = set(zipfile.ZipFile(wheel).namelist())
    if found != expected:
        missing, surplus = sorted(expected - found), sorted(found - expected)
        sys.exit(f"{wheel.name}: missing {missing}, not expected {surplus}")
    sys.stdout.write(f"{wheel.name}: all {len(found)} files are there, and no others\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
