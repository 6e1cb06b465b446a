"""Write demo_sessions/: invented hitters, recorded as a lab would, from posed swings. Deterministic.

    python scripts/make_demo_sessions.py

Force plates. The total ground reaction is m (a + g) of the posed body's centre of mass. It is shared between the feet
by the lever rule on the line from foot to foot: the point where the total force of a point mass at the centre of mass
meets the floor, x_com - z_com a_x / (a_z + g) with the quotient smoothed over some 30 ms, is kept softly between the
feet and taken as the common centre of pressure. The front foot's share fades out while its heel rises and fades in
after its toes touch, such that it passes 10 % of body weight at plant; horizontal forces are shared alike. Each foot
pushes at one point of its sole, without a free moment. The bat's mass is left out.

Sign convention, that of the C3D user guide: plate axes come from FORCE_PLATFORM:CORNERS, z points into the floor; the
channels hold the force and the moment that the person applies TO the plate, in plate axes. The moment is about the
sensor, which lies under the surface: FORCE_PLATFORM:ORIGIN is the vector from the sensor to the middle of the surface,
its z negative. The reaction on the person is the negative of the stored force turned into the lab; the stored Fz of a
loaded plate is positive.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from mocap.kinematics.inertia import centre_of_mass  # noqa: E402
from mocap.reference.parameters import Barrel, Finish, Landing, Stance, Stride, SwingParameters, TurnOfBody  # noqa: E402
from mocap.reference.posed import pose_swing  # noqa: E402
from mocap.reference.postures import Postures  # noqa: E402
from mocap.reference.targets import fit_postures, middle_of_sole  # noqa: E402
from mocap.reference.tracks import step  # noqa: E402

FloatArray = npt.NDArray[np.float64]

GRAVITY = 9.80665
POINT_RATE_HZ, ANALOG_RATE_HZ = 240, 1200
NOISE_MM, FORCE_NOISE_N, MOMENT_NOISE_NMM = 1.0, 1.5, 400.0
#: Residuals are stored as a byte times this. [mm]
RESIDUAL_STEP_MM = 0.05
#: Sensor under the plate's surface. [m]
SENSOR_DEPTH_M = 0.040
#: Seconds of the differences by which the centre of mass's acceleration is found.
DIFFERENCE_S = 2e-3
#: Softness of the limits of the shared centre of pressure, as share of the distance between the feet.
SOFTNESS = 0.06

#: Standard deviation of the Gaussian that smooths the lean of the total force. [s]
SMOOTHING_S = 0.030

#: From the shoe's first touch to the ball of the foot at rest. [s]
SETTLING_S = 0.025

#: Labels of the recording for a right-handed hitter.
LABELS = {
    "pelvis": "PELVIS",
    "neck": "NECK",
    "head": "HEAD",
    "head_top": "HEAD_TOP",
    "bat_knob": "BAT_KNOB",
    "bat_barrel": "BAT_BARREL",
} | {
    f"{side}_{joint}": f"{letter}_{joint.upper()}"
    for side, letter in (("front", "L"), ("back", "R"))
    for joint in ("hip", "knee", "ankle", "heel", "ball", "toe", "shoulder", "elbow", "wrist", "hand")
}


@dataclass(frozen=True)
class Lab:
    """Where the lab's axes lie: lab = turn about the vertical by `turn_deg` of the hitting frame, then shift.

    The hitting frame's origin is the floor midway between the ankles at plant. Plates are given as centre and size
    along the hitting frame's x and y. [m]
    """

    turn_deg: float
    shift: tuple[float, float, float]
    plates: tuple[tuple[float, float, float, float], ...]

    @property
    def rotation(self) -> FloatArray:
        """Lab <- hitting, shape (3, 3)."""
        c, s = np.cos(np.deg2rad(self.turn_deg)), np.sin(np.deg2rad(self.turn_deg))
        return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])

    def place(self, points: FloatArray) -> FloatArray:
        """Points of the hitting frame in the lab, shape (..., 3). [m]"""
        moved: FloatArray = points @ self.rotation.T + np.array(self.shift)
        return moved


@dataclass(frozen=True)
class Gap:
    """A point that the cameras lost: frames counted from 0, the last one included."""

    label: str
    first: int
    last: int


@dataclass(frozen=True)
class Plate:
    """One plate's parameters and channels: corners and origin in mm, channels in N and N mm, shape (A, 6)."""

    corners: FloatArray
    origin: FloatArray
    channels: FloatArray


def main() -> None:
    """Write every demo session."""
    write_first_session(ROOT / "demo_sessions" / "first_session")


# -------------------------------------------------------------------- first session

FIRST_LAB = Lab(turn_deg=90.0, shift=(1.30, 0.80, 0.0), plates=((-0.46, -0.03, 0.90, 0.60), (0.45, -0.03, 0.90, 0.60)))

#: Stands wide and open, lands on the front side with the trunk opening early, and drifts forward in the turn.
FIRST_HITTER = SwingParameters(
    height_m=1.86,
    stance=Stance(width=0.35, front_foot_away=0.055, front_foot_open_deg=28.0, pelvis_open_deg=6.0, trunk_open_deg=2.0),
    stride=Stride(length=0.40, direction_deg=2.0),
    landing=Landing(
        back_share=0.44, front_knee_flexion_deg=50.0, trunk_open_deg=3.0, pelvis_open_deg=16.0, bat_off_aim_deg=14.0
    ),
    turn=TurnOfBody(
        back_share_at_contact=0.33,
        front_knee_flexion_at_contact_deg=42.0,
        trunk_peak_before_contact=0.056,
        lean_back_deg=-4.0,
    ),
    barrel=Barrel(
        barrel_speed=28.0, attack_deg=4.0, contact_depth=0.05, front_elbow_flexion_deg=48.0, impact_loss=0.36
    ),
    finish=Finish(back_share=0.46, lean_back_deg=3.0, front_knee_flexion_deg=32.0, back_heel_pitch_deg=80.0),
)
FIRST_MASS_KG = 88.0

FIRST_SESSION = """\
# An invented hitter in an invented lab, made by scripts/make_demo_sessions.py.

[session]
name = "First session"
date = 2026-03-14
units = "metric"

[setup]
pitcher = [{pitcher}]        # direction from the plate to the pitcher, lab axes
plate = [{plate}]        # rear tip of home plate, lab axes, m
catcher_behind_m = {catcher}
pitch_angle_deg = -8.0

[[hitters]]
id = "h1"
name = "Demo hitter"
height_m = {height}
mass_kg = {mass}
bats = "right"
sex = "male"
level = "adult"

[[swings]]
file = "swing_01.c3d"
hitter = "h1"
kind = "live"
pitch_location = "middle"
notes = ""
"""


def write_first_session(folder: Path) -> None:
    """One swing of one hitter, joint centres, bat and two plates."""
    gaps = (Gap("L_WRIST", 96, 105), Gap("R_HEEL", 240, 248), Gap("BAT_BARREL", 40, 44))
    write_recording(folder / "swing_01.c3d", FIRST_HITTER, FIRST_MASS_KG, FIRST_LAB, gaps, seed=1)
    plate = FIRST_LAB.place(
        np.array([-FIRST_HITTER.plate_behind_m, -FIRST_HITTER.barrel.plate_line_m, 0.0], dtype=np.float64)
    )
    text = FIRST_SESSION.format(
        pitcher=_numbers(FIRST_LAB.rotation[:, 0]),
        plate=_numbers(plate),
        catcher=FIRST_HITTER.catcher_behind_m,
        height=FIRST_HITTER.height_m,
        mass=FIRST_MASS_KG,
    )
    _replace(folder / "session.toml", text.encode("utf-8"))


def _numbers(values: FloatArray) -> str:
    # Adding zero turns a negative zero into zero.
    return ", ".join(f"{value:.3f}" for value in np.round(values, 3) + 0.0)


# -------------------------------------------------------------------- ground forces


def foot_forces(
    parameters: SwingParameters, mass_kg: float, time: FloatArray
) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Ground reaction on each foot and where it acts, hitting frame.

    Parameters
    ----------
    parameters : SwingParameters
    mass_kg : float
        [kg]
    time : ndarray, shape (T,)
        [s from plant]

    Returns
    -------
    force, place : dict of "front" and "back" to ndarray, shape (T, 3)
        [N], [m]
    """
    from scipy.ndimage import gaussian_filter1d

    postures, height = fit_postures(parameters), parameters.height_m
    points = postures.points(time)
    com, acceleration = _centre_of_mass_motion(postures, time)
    total = mass_kg * (acceleration + np.array([0.0, 0.0, GRAVITY]))
    place = {side: height * _under_sole(points, side) for side in ("front", "back")}
    lean = gaussian_filter1d(total[:, 0] / total[:, 2], SMOOTHING_S / float(time[1] - time[0]), mode="nearest")
    pressure = com[:, 0] - com[:, 2] * lean
    share = (pressure - place["back"][:, 0]) / (place["front"][:, 0] - place["back"][:, 0])
    front = _softly_between(share) * _front_contact(
        parameters, time, _softly_between(share) * total[:, 2] / (mass_kg * GRAVITY)
    )
    return {"front": front[:, None] * total, "back": (1.0 - front)[:, None] * total}, place


def _centre_of_mass_motion(postures: Postures, time: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place [m] and acceleration [m/s^2] of the centre of mass, shape (T, 3); five-point differences."""
    height = postures.parameters.height_m
    offsets = DIFFERENCE_S * np.arange(-2, 3)
    around = (time[:, None] + offsets).ravel()
    com = height * centre_of_mass(postures.points(around), sides=("front", "back")).reshape(len(time), 5, 3)
    weights = np.array([-1.0, 16.0, -30.0, 16.0, -1.0]) / (12.0 * DIFFERENCE_S**2)
    return com[:, 2], np.einsum("k,tkj->tj", weights, com)


def _under_sole(points: dict[str, FloatArray], side: str) -> FloatArray:
    """Point of the floor under a foot: its middle while it is flat, the ball once the heel has risen."""
    middle = middle_of_sole(points, side)
    rise = points[f"{side}_heel"][:, 2] - points[f"{side}_ball"][:, 2]
    flat = rise[0]
    to_ball = step(rise, flat, flat + 0.03)[:, None]
    under = middle + to_ball * (points[f"{side}_ball"] - middle)
    under[:, 2] = 0.0
    return under


def _softly_between(share: FloatArray) -> FloatArray:
    """Share kept between 0 and 1, rounded near both."""
    low = SOFTNESS * np.logaddexp(0.0, share / SOFTNESS)
    limited: FloatArray = 1.0 - SOFTNESS * np.logaddexp(0.0, (1.0 - low) / SOFTNESS)
    return np.clip(limited, 0.0, 1.0)


def _front_contact(parameters: SwingParameters, time: FloatArray, full_load: FloatArray) -> FloatArray:
    """How far the front foot is on the ground, 0 to 1, shape (T,); passes 10 % of body weight at plant."""
    from scipy.optimize import brentq

    t = parameters.timing
    at_plant = float(np.interp(0.0, time, full_load))
    # The shoe meets the floor while the foot still settles.
    touch = t.toe_down - SETTLING_S

    def over(end: float) -> float:
        return float(step(np.zeros(1), touch, end)[0]) * at_plant - 0.10

    loaded = float(brentq(over, 0.001, 0.5))
    off, on = step(time, t.stance - 0.02, t.lift), step(time, touch, loaded)
    return 1.0 - off + on


# -------------------------------------------------------------------- plates


def plate_channels(lab: Lab, number: int, force: FloatArray, place: FloatArray, noise: np.random.Generator) -> Plate:
    """One type-2 plate that carries a force at a place, both in the hitting frame.

    Parameters
    ----------
    lab : Lab
    number : int
        Of the lab's plates, from 0.
    force, place : ndarray, shape (A, 3)
        Reaction on the person [N] and where it acts [m].
    noise : numpy Generator

    Returns
    -------
    Plate
    """
    x, y, long, wide = lab.plates[number]
    # Plate axes in the hitting frame: x toward the pitcher, y toward the plate, z into the floor.
    axes = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]]).T
    centre = np.array([x, y, 0.0])
    quadrants = 0.5 * np.array([[long, wide, 0], [-long, wide, 0], [-long, -wide, 0], [long, -wide, 0]])
    corners = lab.place(centre + quadrants @ axes.T)
    origin = np.array([0.0, 0.0, -SENSOR_DEPTH_M])
    on_plate = -force @ axes
    # From the sensor to the point under the foot, plate axes.
    arm = (place - centre) @ axes + origin
    moment = np.cross(arm, on_plate)
    channels = np.concatenate([on_plate, 1000.0 * moment], axis=1)
    channels += noise.normal(size=channels.shape) * np.repeat([FORCE_NOISE_N, MOMENT_NOISE_NMM], 3)
    return Plate(1000.0 * corners, 1000.0 * origin, channels)


# -------------------------------------------------------------------- recording


def write_recording(
    path: Path, parameters: SwingParameters, mass_kg: float, lab: Lab, gaps: tuple[Gap, ...], *, seed: int
) -> None:
    """Record a posed swing with joint-centre points, bat and plates, and write it as a C3D file."""
    noise = np.random.default_rng(seed)
    swing = pose_swing(parameters, POINT_RATE_HZ)
    labels = [LABELS[name] for name in swing.names] + ["SPINE"]
    spine = swing["pelvis"] + 0.4 * (swing["neck"] - swing["pelvis"])
    points = 1000.0 * lab.place(np.concatenate([swing.points, spine[:, None]], axis=1))
    points += noise.normal(scale=NOISE_MM, size=points.shape)
    # A residual is the mean distance of the camera rays from the point: of the size of the noise, always positive.
    residuals = NOISE_MM * np.sqrt(noise.chisquare(3, size=points.shape[:2]) / 3.0)
    for gap in gaps:
        residuals[gap.first : gap.last + 1, labels.index(gap.label)] = -1.0
        points[gap.first : gap.last + 1, labels.index(gap.label)] = 0.0
    per_frame = ANALOG_RATE_HZ // POINT_RATE_HZ
    time = parameters.timing.start + np.arange(len(points) * per_frame) / ANALOG_RATE_HZ
    force, place = foot_forces(parameters, mass_kg, time)
    plates = [plate_channels(lab, n, force[side], place[side], noise) for n, side in enumerate(("back", "front"))]
    _write_c3d(path, labels, points, residuals, plates)


def _write_c3d(path: Path, labels: list[str], points: FloatArray, residuals: FloatArray, plates: list[Plate]) -> None:
    """Write points [mm], residuals [mm, negative where lost] and plates as an Intel floating-point C3D file."""
    import io

    import c3d

    writer = c3d.Writer(
        point_rate=float(POINT_RATE_HZ),
        analog_rate=float(ANALOG_RATE_HZ),
        point_scale=-RESIDUAL_STEP_MM,
        point_units="mm",
    )
    writer.set_point_labels(labels)
    channels = np.concatenate([plate.channels for plate in plates], axis=1)
    names = [f"{kind}{number + 1}" for number in range(len(plates)) for kind in ("Fx", "Fy", "Fz", "Mx", "My", "Mz")]
    writer.set_analog_labels(names)
    writer.set_analog_scales(np.ones(len(names)))
    writer.set_analog_offsets(np.zeros(len(names)))
    units = ["N", "N", "N", "Nmm", "Nmm", "Nmm"] * len(plates)
    text, width = c3d.Writer.pack_labels(units)
    writer.analog_group.add_str("UNITS", "Analog units.", text, width, len(units))
    _add_plates(writer, plates)
    cameras = np.where(residuals < 0, 0.0, 7.0)
    stored = np.concatenate([points, residuals[..., None], cameras[..., None]], axis=2)
    analog = channels.reshape(len(points), -1, channels.shape[1]).transpose(0, 2, 1)
    for frame, samples in zip(stored, analog, strict=True):
        writer.add_frames((frame, samples))
    content = io.BytesIO()
    writer.write(content)
    _replace(path, content.getvalue())


def _add_plates(writer: object, plates: list[Plate]) -> None:
    """The FORCE_PLATFORM group."""
    group = writer.get_create("FORCE_PLATFORM")  # type: ignore[attr-defined]
    count = len(plates)
    group.add_param("USED", desc="Plates", bytes_per_element=2, bytes=np.int16(count).tobytes(), dimensions=[])
    for name, description, values in (
        ("TYPE", "Plate types", np.full(count, 2, dtype=np.int16)),
        ("ZERO", "Baseline frames, none", np.zeros(2, dtype=np.int16)),
        ("CHANNEL", "Analog channels", np.arange(1, 6 * count + 1, dtype=np.int16).reshape(count, 6)),
        ("CORNERS", "Plate corners", np.stack([plate.corners for plate in plates]).astype(np.float32)),
        ("ORIGIN", "Sensor to surface", np.stack([plate.origin for plate in plates]).astype(np.float32)),
    ):
        group.add_param(
            name,
            desc=description,
            bytes_per_element=values.dtype.itemsize,
            bytes=values.tobytes(),
            dimensions=list(values.shape[::-1]),
        )


def _replace(path: Path, content: bytes) -> None:
    """Write to a temporary name, then rename."""
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_suffix(path.suffix + ".tmp")
    temporary.write_bytes(content)
    temporary.replace(path)


if __name__ == "__main__":
    main()
