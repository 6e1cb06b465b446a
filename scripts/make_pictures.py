"""Make the README's pictures anew: `python scripts/make_pictures.py`, in the project's `.venv`."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from click.testing import CliRunner  # noqa: E402

from mocap.cli import main  # noqa: E402

DEMO = ROOT / "demo_sessions"
FIRST, DAY, TWO = DEMO / "first_session" / "swing_01.c3d", DEMO / "lab_day", DEMO / "two_cameras"
PICTURES: dict[str, list[str | Path]] = {
    "foot_plant": [FIRST],
    "moments": [FIRST, "--picture", "sheet"],
    "side_by_side": [DAY / "rook.c3d", "--beside", DAY / "heath.c3d"],
    "over_footage": [TWO / "lab.c3d", "--video", TWO / "open_side.mp4"],
}


def draw_all() -> None:
    """Draw each at 1280 by 720 into `assets/pictures`."""
    for name, arguments in PICTURES.items():
        target = ROOT / "assets" / "pictures" / f"{name}.png"
        words = ["still", *map(str, arguments), "--out", str(target), "--size", "720p", "--replace"]
        result = CliRunner().invoke(main, words)
        if result.exit_code:
            raise SystemExit(result.output)
        print(target.relative_to(ROOT))


if __name__ == "__main__":
    draw_all()
