"""Write assets/reference/standard.json: the reference model of the position at foot-plant and the turn after it.

The model is posed from this project's own targets (mocap/reference/parameters.py), chosen inside published bands; no
recording of a person went into it.

    python scripts/make_reference.py
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from mocap.reference.parameters import SwingParameters  # noqa: E402
from mocap.reference.posed import pose_swing  # noqa: E402

RATE_HZ = 120.0

ABOUT = (
    "Original reference model: the position at foot-plant and the turn after it, of a right-handed hitter of unit "
    "height. Posed from the targets listed under sources; no recording of a person went into it. Lengths are shares of "
    "body height; x toward the pitcher, y from the plate toward the hitter, z up; origin on the floor midway between "
    "the ankles at plant; times in seconds from the first frame."
)

SOURCES = (
    "segment lengths: de Leva P (1996) J Biomech 29:1223-1230, Table 4, men; shoulder width and ankle height: Drillis "
    "and Contini (1966) in Winter (2009) Fig. 4.1; hip width: Harrington et al. (2007) J Biomech 40:595-602",
    "centre of mass: de Leva (1996), Table 4, men",
    "weight at plant, 55.5 % on the back foot: common practice, 50 to 60 %",
    "front foot, pelvis and trunk closed at plant, hands back, knob at the catcher's feet, barrel tilted: common "
    "practice",
    "stride: common practice, near 380 % of hip width",
    "order pelvis, trunk, front arm, bat; pelvis 714 deg/s and trunk 937 deg/s at their fastest, bat 31 m/s: Welch et "
    "al. (1995) J Orthop Sports Phys Ther 22:193-201",
    "trunk 857 deg/s and bat 30 m/s at contact, adults: Escamilla et al. (2009) J Appl Biomech 25:210-218",
    "front knee bends on after it has landed, then straightens by 59 deg at up to 386 deg/s, adults: Escamilla et al. "
    "(2009); here by 43 deg, as a body that rises by more in that time presses harder on the floor than is published",
    "back knee bent by 74 deg at contact: Inkster et al. (2011) Med Sci Sports Exerc 43(6); here within 15 %",
    "attack angle 8 deg up, against a fastball 8 deg down: common practice",
    "axis that stays put, back foot turning on its toes, firm front leg, extension after contact, balanced finish: "
    "common practice",
    "everything between the key positions: this project's own smooth interpolation",
)


def standard_model() -> dict[str, Any]:
    """The default posed swing at unit height, as the file holds it."""
    swing = pose_swing(SwingParameters(), RATE_HZ)
    return {
        "name": "standard",
        "about": ABOUT,
        "bats": "right",
        "rate_hz": RATE_HZ,
        "moments": {name: round(when, 6) for name, when in swing.moments.items()},
        "names": list(swing.names),
        "points": np.round(swing.points / swing.parameters.height_m, 5).tolist(),
        "sources": list(SOURCES),
    }


def main() -> None:
    """Pose the default swing and write it."""
    content = standard_model()
    target = ROOT / "assets" / "reference" / "standard.json"
    target.parent.mkdir(parents=True, exist_ok=True)
    temporary = target.with_suffix(".tmp")
    temporary.write_text(json.dumps(content, separators=(",", ":")) + "\n", encoding="utf-8")
    temporary.replace(target)
    print(f"{target.relative_to(ROOT)}: {len(content['points'])} frames, {target.stat().st_size / 1024:.0f} kB")


if __name__ == "__main__":
    main()
