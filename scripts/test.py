"""Check everything: `python scripts/test.py [pytest options]`, on any machine with Python 3.11 and pip.

Makes the project's virtual environment if need be, then runs ruff, mypy and pytest in the project's folder. Paths
among the options are read from there. Every check runs, so that one look shows all that is wrong.
"""

from __future__ import annotations

import os
import sys

import _environment

STATIC_CHECKS = (("ruff", "check"), ("ruff", "format", "--check"), ("mypy",))


def main(pytest_options: list[str]) -> int:
    """Exit status: 0 if all is well, 2 if the environment cannot be made, else not 0."""
    try:
        _environment.prepare(("test",))
    except _environment.SetupError as error:
        print(f"error: {error}", file=sys.stderr)
        return 2
    failed = []
    for check in STATIC_CHECKS:
        print(f"\n== {' '.join(check)}")
        if _environment.run(_environment.PYTHON, "-m", *check) != 0:
            failed.append(" ".join(check))
    # Last, so that pytest's closing line ends the output.
    print(f"\n== pytest{' (failed so far: ' + ', '.join(failed) + ')' if failed else ''}")
    # A worker for each of two cores; the numerical libraries would else start a thread on every core in each of them.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    options = ["-n", "2", "--dist", "loadfile", *pytest_options]
    status = _environment.run(_environment.PYTHON, "-m", "pytest", *options)
    return status or int(bool(failed))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
