"""One hitter's swing in the hitting frame: joint centres, bat, centre of mass, ground forces, moments.

Hitting frame: right-handed, z up, x toward the pitcher, a right-handed hitter stands at +y and faces -y.
A left-handed hitter is mirrored (y -> -y, left <-> right), so that all compare as right-handed; whatever is shown
to a person is mirrored back. Sides are `front` (nearer the pitcher) and `back`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, get_args, get_type_hints

import numpy as np
import numpy.typing as npt

from mocap.capture import FloatArray, PointErrors
from mocap.errors import OptionError

Side = Literal["right", "left"]
Sport = Literal["baseball", "softball"]
PitchLocation = Literal["inside", "middle", "away"]

#: Every point a swing can hold, in the order of the arrays. `pelvis` is midway between the hip centres, `neck` midway
#: between the shoulder centres, `head` the head's centre, `head_top` its vertex; `ball` is the head of the metatarsals.
JOINTS: tuple[str, ...] = (
    "pelvis",
    "neck",
    "head",
    "head_top",
    *(
        f"{side}_{joint}"
        for side in ("front", "back")
        for joint in ("hip", "knee", "ankle", "heel", "ball", "toe", "shoulder", "elbow", "wrist", "hand")
    ),
)

#: Points of the bat: the knob's end and the barrel's end, both on the bat's axis.
BAT_POINTS: tuple[str, ...] = ("bat_knob", "bat_barrel")

POINTS: tuple[str, ...] = JOINTS + BAT_POINTS

#: The key moments in the order in which they come.
MOMENTS: tuple[str, ...] = (
    "stance",
    "lift",
    "toe_touch",
    "plant",
    "foot_flat",
    "level",
    "contact",
    "extension",
    "finish",
)


@dataclass(frozen=True)
class Hitter:
    """Who swings.

    Attributes
    ----------
    name : str
        Name or number used on pictures; empty where not given.
    height_m : float or None
        Standing height. [m]
    mass_kg : float or None
        Body mass. [kg]
    bats : {"right", "left"} or None
        Side of the plate; None: found from the recording.
    sex : {"male", "female"}
        Which column of the inertia table applies.
    level : str
        Level of play, free text.

    Raises
    ------
    OptionError
        Height outside 0.9 to 2.4 m, mass outside 12 to 220 kg, or an unknown side.
    """

    name: str = ""
    height_m: float | None = None
    mass_kg: float | None = None
    bats: Side | None = None
    sex: Literal["male", "female"] = "male"
    level: str = ""

    def __post_init__(self) -> None:
        if self.height_m is not None and not 0.9 <= self.height_m <= 2.4:
            hint = " (give metres, e.g. 1.80)" if self.height_m > 2.4 else ""
            raise OptionError(f"height {self.height_m:g} m is outside 0.9 to 2.4 m{hint}")
        if self.mass_kg is not None and not 12 <= self.mass_kg <= 220:
            raise OptionError(f"mass {self.mass_kg:g} kg is outside 12 to 220 kg")
        if self.bats not in (None, "right", "left"):
            raise OptionError(f"bats {self.bats!r} is not known; give right or left")
        if not isinstance(self.level, str):
            raise OptionError(f"level {self.level!r} is no text; give e.g. youth, college, adult")
        if self.sex not in ("male", "female"):
            raise OptionError(f"sex {self.sex!r} has no inertia table; give male or female")


@dataclass(frozen=True)
class BodyModel:
    """Which published models turn the recorded points into a body.

    Attributes
    ----------
    hip : {"auto", "harrington", "davis", "hara"}
        Regression of the hip centres. `auto`: Davis where the recording carries the lab's measurements for it, so that
        numbers agree with the lab's own; else Harrington, whose error against CT is half as large.
    inertia : {"auto", "de_leva", "winter", "children"}
        Table of segment masses. `auto`: de Leva for adults, the children's for children.
    cutoff_hz : float or None
        Cut-off of the low-pass for every point; None: chosen for each. [Hz]
    marker_set : str or None
        The coach's own marker set, a TOML file; None: one of the known ones.
    bat_kg : float or None
        Mass of the bat, counted into the centre of mass; None: the body alone. [kg]

    Raises
    ------
    OptionError
        An unknown choice, a cut-off outside 1 to 200 Hz, no file name, or a bat outside 0.1 to 3 kg.
    """

    hip: Literal["auto", "harrington", "davis", "hara"] = "auto"
    inertia: Literal["auto", "de_leva", "winter", "children"] = "auto"
    cutoff_hz: float | None = None
    marker_set: str | None = None
    bat_kg: float | None = None

    def __post_init__(self) -> None:
        for key in ("hip", "inertia"):
            known = get_args(get_type_hints(BodyModel)[key])
            if getattr(self, key) not in known:
                raise OptionError(f"{key} model {getattr(self, key)!r} is not known; give {', '.join(known)}")
        if self.cutoff_hz is not None and not 1.0 <= self.cutoff_hz <= 200.0:
            raise OptionError(f"cut-off {self.cutoff_hz:g} Hz is outside 1 to 200 Hz; give e.g. 12")
        if self.marker_set is not None and not self.marker_set:
            raise OptionError("the marker set has no file name; give a TOML file")
        if self.bat_kg is not None and not 0.1 <= self.bat_kg <= 3.0:
            raise OptionError(f"bat mass {self.bat_kg:g} kg is outside 0.1 to 3 kg")


@dataclass(frozen=True)
class Pitch:
    """How the ball was thrown, to work out the angle at which it comes down.

    Attributes
    ----------
    speed_m_s : float
        At release. [m/s]
    release_height_m : float
        Over the floor of the plate. [m]
    release_distance_m : float
        From the plate's rear tip, along the ground. [m]
    backspin_rpm : float
        Positive lifts the ball, negative is topspin; 0 where nobody measured it. [rev/min]
    plate_height_m : float
        Height at which it crosses the plate; the release angle follows from it. [m]

    Raises
    ------
    OptionError
        A value that no pitch has.
    """

    speed_m_s: float
    release_height_m: float
    release_distance_m: float
    backspin_rpm: float = 0.0
    plate_height_m: float = 0.8

    def __post_init__(self) -> None:
        for key, low, high in (
            ("speed_m_s", 5.0, 55.0),
            ("release_height_m", 0.1, 3.5),
            ("release_distance_m", 3.0, 20.0),
            ("backspin_rpm", -4000.0, 4000.0),
            ("plate_height_m", 0.1, 1.6),
        ):
            value = getattr(self, key)
            if not low <= value <= high:
                raise OptionError(f"pitch: {key} {value:g} is outside {low:g} to {high:g}")


@dataclass(frozen=True)
class Setup:
    """How the recording was made.

    Attributes
    ----------
    pitcher : tuple of 3 floats or None
        Direction from the plate to the pitcher in the lab frame; None: from the feet at foot-plant.
    plate : tuple of 3 floats or None
        Rear tip of home plate in the lab frame. [m]
    catcher_behind_m : float
        Distance from the plate's rear tip to the catcher's feet. [m]
    sweet_spot_m : float
        Distance of the sweet spot from the barrel's end. [m]
    pitch_angle_deg : float or None
        Descent of the pitch at the plate, negative is downward. [deg]
    moments : mapping of str to int
        Hand-set moments: name to frame index counted from 0.
    model : BodyModel
        Which published models turn the points into a body.
    held : bool
        Whether a landing position is held, as in a drill, instead of a swing.
    sport : {"baseball", "softball"}
        Whose ball and bat.
    pitch : Pitch or None
        How the ball was thrown; a given angle goes before it.
    pitch_location : {"inside", "middle", "away"} or None
        Where it crosses the plate, which says how deep it is met; None: not known.

    Raises
    ------
    OptionError
        An unknown moment, a zero direction, a number that is not finite, a pitch angle outside -60 to 30 deg.
    """

    pitcher: tuple[float, float, float] | None = None
    plate: tuple[float, float, float] | None = None
    catcher_behind_m: float = 1.0
    sweet_spot_m: float = 0.15
    pitch_angle_deg: float | None = None
    moments: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    model: BodyModel = BodyModel()
    held: bool = False
    sport: Sport = "baseball"
    pitch: Pitch | None = None
    pitch_location: PitchLocation | None = None

    def __post_init__(self) -> None:
        unknown = sorted(set(self.moments) - set(MOMENTS))
        if unknown:
            raise OptionError(f"moment {unknown[0]!r} is not known; known are {', '.join(MOMENTS)}")
        for name, index in self.moments.items():
            if isinstance(index, bool) or not isinstance(index, int):
                raise OptionError(f"moment {name} is set to {index!r}; give a frame, counted from 0")
        for key, low, high in (("catcher_behind_m", 0.0, 5.0), ("sweet_spot_m", 0.0, 0.6)):
            if not low <= getattr(self, key) <= high:
                raise OptionError(f"{key} {getattr(self, key):g} is outside {low:g} to {high:g} m")
        for key in ("pitcher", "plate"):
            vector = getattr(self, key)
            if vector is not None and not np.isfinite(vector).all():
                raise OptionError(f"{key} {', '.join(f'{value:g}' for value in vector)} is not three finite numbers")
        if self.pitcher is not None and np.linalg.norm(self.pitcher) < 1e-9:
            raise OptionError("the direction to the pitcher is zero; give e.g. 1,0,0")
        if self.sport not in get_args(Sport):
            raise OptionError(f"sport {self.sport!r} is not known; give {', '.join(get_args(Sport))}")
        if self.pitch_location is not None and self.pitch_location not in get_args(PitchLocation):
            known = ", ".join(get_args(PitchLocation))
            raise OptionError(f"pitch location {self.pitch_location!r} is not known; give {known}")
        if self.pitch_angle_deg is not None and not -60.0 <= self.pitch_angle_deg <= 30.0:
            raise OptionError(f"pitch angle {self.pitch_angle_deg:g} deg is outside -60 to 30 (downward is negative)")


@dataclass(frozen=True)
class Moment:
    """A key moment, found, set by hand, or not found.

    Attributes
    ----------
    name : str
        One of `MOMENTS`.
    index : int or None
        Frame counted from 0; None: not found.
    time_s : float or None
        Time from the first frame. [s]
    sd_s : float or None
        Standard deviation of that time. [s]
    method : str
        How it was found.
    why : str
        Why it was not found; empty where it was.
    """

    name: str
    index: int | None
    time_s: float | None
    sd_s: float | None
    method: str
    why: str = ""


@dataclass(frozen=True)
class FootForces:
    """Ground reaction force under each foot, at the plates' rate, hitting frame.

    Attributes
    ----------
    front, back : ndarray, shape (A, 3)
        Force on the person. [N]
    front_at, back_at : ndarray, shape (A, 3)
        Centre of pressure on the floor; NaN where the foot is off it. [m]
    rate_hz : float
        [Hz]
    """

    front: FloatArray
    back: FloatArray
    front_at: FloatArray
    back_at: FloatArray
    rate_hz: float

    def at(self, side: str, time_s: FloatArray) -> FloatArray:
        """Force under a foot at times from the first frame, shape (N, 3), straight between samples. [N]"""
        force = self.front if side == "front" else self.back
        samples = np.arange(len(force)) / self.rate_hz
        return np.stack([np.interp(time_s, samples, force[:, axis]) for axis in range(3)], axis=-1)

    def moved(self, matrix: FloatArray) -> FootForces:
        """The same in another frame, by a homogeneous transform of shape (4, 4)."""
        turn, shift = matrix[:3, :3].T, matrix[:3, 3]
        return FootForces(
            self.front @ turn, self.back @ turn, self.front_at @ turn + shift, self.back_at @ turn + shift, self.rate_hz
        )


@dataclass(frozen=True)
class Swing:
    """One swing in the hitting frame.

    Attributes
    ----------
    source : str
        Name of the recording.
    hitter : Hitter
        With `height_m` and `bats` always filled.
    height_sd_m : float
        Standard deviation of the height: 0.005 where given, more where estimated. [m]
    setup : Setup
    rate_hz : float
    points : ndarray, shape (F, P, 3)
        Filtered, hitting frame, in the order of `POINTS`; NaN where missing. [m]
    point_sd_m : ndarray, shape (P,)
        Standard deviation of each point per axis, model error of the joint centre included. [m]
    noise_m : ndarray, shape (P,)
        Frame-to-frame measurement noise of each point before filtering, per axis. [m]
    cutoff_hz : ndarray, shape (P,)
        Cut-off of the low-pass that each point went through. [Hz]
    filled : ndarray of bool, shape (F, P)
        Samples that were filled from other frames or points, not measured.
    frames : mapping of str to ndarray, shape (F, 3, 3)
        Axes of the skeleton's segments after the ISB (x forward, y up along the bone, z to the subject's right), world
        from segment: `pelvis`, `thorax`, `head`, and with `front_` or `back_` `clavicle`, `upper_arm`, `forearm`,
        `hand`, `thigh`, `shank`, `foot`, `toes`, as far as the points show them; NaN where missing.
    com : ndarray, shape (F, 3)
        Whole-body centre of mass. [m]
    head_forward : ndarray, shape (F, 3)
        Unit direction the face points to; NaN where the points do not show it.
    moments : mapping of str to Moment
        Every name of `MOMENTS`.
    forces : FootForces or None
        Where plates could be assigned to the feet.
    heading_method : str
        How the direction to the pitcher was found.
    heading_sd_rad : float
        Its standard deviation. [rad]
    plate_known : bool
        Whether the origin is the plate's rear tip (else the floor midway between the feet at plant).
    lab_from_hitting : ndarray, shape (4, 4)
        Homogeneous transform; includes the mirror for a left-handed hitter.
    notes : tuple of str
    palms_seen : bool
        Whether points on both sides of either wrist show the roll of the hands, and so which way the palms face.
    forces_why : str
        Why there are no forces; empty where there are.
    on_skin : bool
        Whether the points are markers on the skin, which moves over the bone.
    errors : PointErrors or None
        Of points that were smoothed before, in the order of `POINTS`, hitting frame.
    """

    source: str
    hitter: Hitter
    height_sd_m: float
    setup: Setup
    rate_hz: float
    points: FloatArray
    point_sd_m: FloatArray
    noise_m: FloatArray
    cutoff_hz: FloatArray
    filled: npt.NDArray[np.bool_]
    frames: Mapping[str, FloatArray]
    com: FloatArray
    head_forward: FloatArray
    moments: Mapping[str, Moment]
    forces: FootForces | None
    heading_method: str
    heading_sd_rad: float
    plate_known: bool
    lab_from_hitting: FloatArray
    notes: tuple[str, ...] = ()
    palms_seen: bool = False
    forces_why: str = "no force plates were recorded"
    on_skin: bool = False
    errors: PointErrors | None = None

    def __getitem__(self, name: str) -> FloatArray:
        """Path of one point, shape (F, 3). [m]"""
        return self.points[:, POINTS.index(name)]

    def has(self, *names: str) -> bool:
        """Whether every named point was seen in at least one frame."""
        return all(bool(np.isfinite(self[name]).all(axis=-1).any()) for name in names)

    @property
    def n_frames(self) -> int:
        """Number of frames F."""
        return int(self.points.shape[0])

    @property
    def height_m(self) -> float:
        """Standing height, given or estimated. [m]"""
        assert self.hitter.height_m is not None  # build_swing always fills it
        return self.hitter.height_m

    @property
    def mirrored(self) -> bool:
        """Whether what is shown to a person must be mirrored back (a left-handed hitter)."""
        return self.hitter.bats == "left"

    def index(self, moment: str) -> int | None:
        """Frame of a moment, None where it was not found."""
        return self.moments[moment].index
