"""Run the main job on the demo session: `python scripts/demo.py`, on any machine with Python 3.11 and pip.

Makes the project's virtual environment if need be, then lays the demo hitter over the reference and says where the
pictures are.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import _environment


def fresh_folder() -> Path:
    """The first of demo_results, demo_results-2, demo_results-3, ... that does not exist yet."""
    names = itertools.chain(["demo_results"], (f"demo_results-{number}" for number in itertools.count(2)))
    return next(folder for folder in (_environment.ROOT / name for name in names) if not folder.exists())


def main() -> int:
    """Exit status: 0, 2 if the environment cannot be made, else that of `mocap compare`."""
    try:
        _environment.prepare()
    except _environment.SetupError as error:
        print(f"error: {error}", file=sys.stderr)
        return 2
    results = fresh_folder()
    session = Path("demo_sessions", "first_session")
    print(f"mocap compare {session.as_posix()} --out {results.name}")
    status = _environment.run(_environment.COMMAND, "compare", session, "--out", results)
    if status == 0:
        print(f"\nThe results are in {results}")
        for file in sorted(path for path in results.rglob("*") if path.is_file()):
            print(f"  {file.relative_to(results).as_posix():<32} {file.stat().st_size / 1000:>8.0f} kB")
    return status


if __name__ == "__main__":
    sys.exit(main())
