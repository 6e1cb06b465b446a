"""Write demo_sessions/: invented hitters, recorded as a lab would, from posed swings. Deterministic.

    python scripts/make_demo_sessions.py

How they are recorded is told in `mocap.virtual`, who they are in `demo_hitters.py`. The first session's file is written
by the package c3d, so that the demo holds one that our own writer had no part in. Videos differ by a few bytes between
encoders.
"""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from demo_hitters import progress, roster  # noqa: E402

from mocap.capture import Capture, ForcePlate  # noqa: E402
from mocap.importer.camera_file import write_camera  # noqa: E402
from mocap.importer.session import FILE_NAME  # noqa: E402
from mocap.output import replacing  # noqa: E402
from mocap.reference.parameters import (  # noqa: E402
    Barrel,
    Finish,
    Landing,
    Stance,
    Stride,
    SwingParameters,
    Timing,
    TurnOfBody,
)
from mocap.virtual.cameras import TWO_TRIPODS, film_points, place_camera  # noqa: E402
from mocap.virtual.faults import Faults, Gap  # noqa: E402
from mocap.virtual.footage import render_footage  # noqa: E402
from mocap.virtual.hitter import VirtualHitter  # noqa: E402
from mocap.virtual.lab import TWO_PLATES, TWO_PLATES_TYPE_4, Lab  # noqa: E402
from mocap.virtual.session_folder import PlannedSession, PlannedSwing, write_session  # noqa: E402

#: Residuals are stored as a byte times this. [mm]
RESIDUAL_STEP_MM = 0.05


COMMENT = "Invented hitters in an invented lab, made by scripts/make_demo_sessions.py."


def main() -> None:
    """Write every demo session."""
    folder = ROOT / "demo_sessions"
    write_first_session(folder / "first_session")
    write_lab_day(folder / "lab_day")
    write_season(folder / "season")
    write_two_cameras(folder / "two_cameras")


# -------------------------------------------------------------------- first session

FIRST_LAB = Lab(turn_deg=90.0, shift=(1.30, 0.80, 0.0), plates=TWO_PLATES)

#: Stands wide and open, lands on the front side with the trunk opening early, and drifts forward in the turn.
FIRST_HITTER = VirtualHitter(
    id="h1",
    name="Demo hitter",
    parameters=SwingParameters(
        height_m=1.86,
        timing=Timing(contact=0.255, finish=0.51),
        stance=Stance(
            width=0.35,
            front_foot_away=0.055,
            front_foot_open_deg=28.0,
            pelvis_open_deg=6.0,
            trunk_open_deg=2.0,
            back_knee_flexion_deg=44.0,
        ),
        stride=Stride(length=0.40, direction_deg=2.0, back_knee_flexion_deg=48.0),
        landing=Landing(
            back_share=0.44,
            front_knee_flexion_deg=50.0,
            front_knee_gives_deg=4.0,
            trunk_open_deg=3.0,
            pelvis_open_deg=16.0,
            bat_off_aim_deg=14.0,
        ),
        turn=TurnOfBody(
            back_share_at_contact=0.33,
            front_knee_flexion_at_contact_deg=42.0,
            trunk_peak_before_contact=0.056,
            lean_to_plate_deg=24.0,
            lean_back_deg=-4.0,
        ),
        barrel=Barrel(
            barrel_speed=28.0, attack_deg=4.0, contact_depth=0.05, front_elbow_flexion_deg=48.0, impact_loss=0.36
        ),
        finish=Finish(back_share=0.35, lean_back_deg=3.0, front_knee_flexion_deg=32.0, back_heel_pitch_deg=80.0),
    ),
    mass_kg=88.0,
)


def write_first_session(folder: Path) -> None:
    """One swing of one hitter, joint centres, bat and two plates."""
    gaps = (Gap("L_WRIST", 96, 105), Gap("R_HEEL", 240, 248), Gap("BAT_BARREL", 40, 44))
    session = PlannedSession(
        name="First session",
        day=date(2026, 3, 14),
        lab=FIRST_LAB,
        swings=(PlannedSwing("swing_01.c3d", FIRST_HITTER, faults=Faults(gaps=gaps), seed=1),),
        comment="An invented hitter in an invented lab, made by scripts/make_demo_sessions.py.",
    )
    write_session(folder, session, write=write_by_c3d_package)


# -------------------------------------------------------------------- the others

#: A cage with two plates of type 4 under a mat that holds home plate.
CAGE = Lab(turn_deg=-35.0, shift=(2.10, 1.40, 0.0), plates=TWO_PLATES_TYPE_4)
#: What each shows, for the session file.
NOTES = {
    "rook": "narrow, open stance and a leg kick; sound landing",
    "birch": "wide, closed stance and hardly a stride; the same sound landing",
    "wren": "a child",
    "sorrel": "left-handed, taps the toes before the stride",
    "flint": "lands on the front foot",
    "heath": "opens early",
    "reed": "the back foot never turns",
    "oak": "long bat, wrapped flat",
}


def write_lab_day(folder: Path) -> None:
    """Eight hitters one after the other, half of them with joint centres, half with skin markers, and a held drill."""
    swings = []
    for number, hitter in enumerate(roster()):
        on_skin = number % 2 == 1
        swings.append(
            PlannedSwing(
                f"{hitter.id}.c3d",
                hitter,
                markers="conventional_gait" if on_skin else "joint_centres",
                soft_tissue_m=0.006 if on_skin else 0.0,
                notes=NOTES[hitter.id],
                faults="random" if on_skin else None,
                seed=10 + number,
            )
        )
    drill = PlannedSwing(
        "rook_drill.c3d",
        roster()[0],
        kind="held",
        notes="landing position held for three seconds",
        rate_hz=120.0,
        seed=30,
    )
    write_session(folder, PlannedSession("Lab day", date(2026, 4, 18), CAGE, (*swings, drill), COMMENT))


def write_season(folder: Path) -> None:
    """One hitter on three dates."""
    swings = tuple(
        PlannedSwing(
            f"lark_{day.isoformat()}.c3d", hitter, day=day, kind="tee", notes=f"date {number} of 3", seed=40 + number
        )
        for number, (day, hitter) in enumerate(progress(), start=1)
    )
    assert swings[0].day is not None
    write_session(folder, PlannedSession("A spring", swings[0].day, CAGE, swings, COMMENT))


#: Standard deviation of a point that the detector is entirely sure of. [px]
FOUND_PX = 1.5
FILMED_SWING = """
[[swings]]
file = "filmed.toml"
hitter = "{hitter}"
kind = "live"
pitch_location = "middle"
notes = "from the points that the two cameras saw"
"""


def write_two_cameras(folder: Path) -> None:
    """One swing seen by two cameras on tripods: points, cameras and videos, and the lab's own recording of it.

    The lab's recording and what the cameras saw are two swings of the session.
    """
    hitter = roster()[0]
    write_session(
        folder,
        PlannedSession(
            "Two cameras",
            date(2026, 5, 9),
            CAGE,
            (PlannedSwing("lab.c3d", hitter, notes="the same swing as the cameras saw", seed=50),),
            COMMENT,
        ),
    )
    filmed, videos = [f"# {COMMENT}\n\n[filmed]\nnoise_px = {FOUND_PX}\n"], [FILMED_SWING.format(hitter=hitter.id)]
    for number, tripod in enumerate(TWO_TRIPODS):
        camera = place_camera(tripod, CAGE, hitter.bats)
        write_camera(camera, folder / f"{tripod.name}.toml")
        seen = film_points(hitter, camera, CAGE, noise_px=FOUND_PX, outliers=0.01, seed=60 + number)
        seen.write(folder / f"{tripod.name}.csv")
        render_footage(hitter, camera, CAGE, folder / f"{tripod.name}.mp4")
        row = f'\n[[cameras]]\ncamera = "{tripod.name}.toml"\n'
        filmed.append(f'{row}points = "{tripod.name}.csv"\n')
        videos.append(f'{row}swing = "lab.c3d"\nvideo = "{tripod.name}.mp4"\n')
    path = folder / FILE_NAME
    text = path.read_text(encoding="utf-8")
    for target, words in ((path, [text, *videos]), (folder / "filmed.toml", filmed)):
        with replacing(target) as temporary:
            temporary.write_text("".join(words), encoding="utf-8", newline="\n")


# -------------------------------------------------------------------- writing by the package c3d


def write_by_c3d_package(capture: Capture, path: Path) -> None:
    """Write points, residuals and plates of type 2 as an Intel floating-point C3D file in millimetres."""
    import io

    import c3d

    writer = c3d.Writer(
        point_rate=capture.rate_hz,
        analog_rate=capture.analog_rate_hz,
        point_scale=-RESIDUAL_STEP_MM,
        point_units="mm",
    )
    writer.set_point_labels(list(capture.labels))
    writer.set_analog_labels(list(capture.analog_labels))
    writer.set_analog_scales(np.ones(len(capture.analog_labels)))
    writer.set_analog_offsets(np.zeros(len(capture.analog_labels)))
    text, width = c3d.Writer.pack_labels(list(capture.analog_units))
    writer.analog_group.add_str("UNITS", "Analog units.", text, width, len(capture.analog_units))
    _add_plates(writer, capture.plates)
    seen = np.isfinite(capture.residuals)
    points = 1000.0 * np.where(seen[..., None], capture.points, 0.0)
    residuals = np.where(seen, 1000.0 * capture.residuals, -1.0)
    stored = np.concatenate([points, residuals[..., None], capture.cameras[..., None].astype(float)], axis=2)
    analog = capture.analog.reshape(capture.n_frames, -1, capture.analog.shape[1]).transpose(0, 2, 1)
    for frame, samples in zip(stored, analog, strict=True):
        writer.add_frames((frame, samples))
    content = io.BytesIO()
    writer.write(content)
    with replacing(path) as temporary:
        temporary.write_bytes(content.getvalue())


def _add_plates(writer: object, plates: tuple[ForcePlate, ...]) -> None:
    """The FORCE_PLATFORM group."""
    group = writer.get_create("FORCE_PLATFORM")  # type: ignore[attr-defined]
    count = len(plates)
    origins = [plate.channels.origin for plate in plates if plate.channels is not None]
    group.add_param("USED", desc="Plates", bytes_per_element=2, bytes=np.int16(count).tobytes(), dimensions=[])
    for name, description, values in (
        ("TYPE", "Plate types", np.full(count, 2, dtype=np.int16)),
        ("ZERO", "Baseline frames, none", np.zeros(2, dtype=np.int16)),
        ("CHANNEL", "Analog channels", np.arange(1, 6 * count + 1, dtype=np.int16).reshape(count, 6)),
        ("CORNERS", "Plate corners", (1000.0 * np.stack([p.corners for p in plates])).astype(np.float32)),
        ("ORIGIN", "Sensor to surface", (1000.0 * np.stack(origins)).astype(np.float32)),
    ):
        group.add_param(
            name,
            desc=description,
            bytes_per_element=values.dtype.itemsize,
            bytes=values.tobytes(),
            dimensions=list(values.shape[::-1]),
        )


if __name__ == "__main__":
    main()
