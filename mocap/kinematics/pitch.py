"""How the pitch comes down at the plate: given, integrated from its release, or the usual one of the sport.

The ball flies in the vertical plane through the release and the plate: gravity, drag against its velocity, and the
lift of backspin at right angles to it. A ball that curves sideways turns its path by about a degree, which the descent
does not feel. Spin is taken as constant: it falls by about a tenth in a flight (Nathan AM (2008), time constant of a
100 mph pitch about 5 s). The ball crosses the front edge of the plate at a height that is known, so that the angle of
release follows; the angle that counts is the one there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.pitching import pitch_table, rule_book
from mocap.swing import Pitch, Setup, Sport

#: Standard gravity. [m/s^2] 3rd General Conference on Weights and Measures (1901).
GRAVITY = 9.80665
#: Dry air at 1013.25 hPa and 22.5 deg C: p / (R T) with R = 287.05 J/(kg K), ISO 2533. [kg/m^3] The drag coefficients
#: of ``assets/tables/pitches.toml`` were inferred with the same.
AIR_DENSITY = 1.194
#: Descent of a baseball where nothing is known of the pitch. [deg] About 8 degrees down: common practice, no source;
#: measured major-league pitches come down at 5 to 10 degrees on average, by kind of pitch.
USUAL_BASEBALL_DEG = -8.0
#: Its standard deviation, by sport. [deg] Baseball: pitches of one kind spread by 1.0 to 1.5 degrees, the kinds' means
#: by about 2 (measured major-league pitches, one day of 2020). Softball: from rise ball to drop ball, this project's
#: default.
USUAL_SD_DEG: dict[Sport, float] = {"baseball": 2.0, "softball": 2.5}

#: Standard deviations of what is told of a pitch; this project's defaults. Speed: a radar gun, and where along the
#: flight it reads. Plate height: within the strike zone, as hardly anybody measures it.
SPEED_SD_M_S = 0.5
RELEASE_HEIGHT_SD_M = 0.05
RELEASE_DISTANCE_SD_M = 0.2
PLATE_HEIGHT_SD_M = 0.15
#: Weather: 5 to 35 deg C, and some hundred metres of altitude. A fraction; this project's default.
AIR_DENSITY_SD = 0.04
#: Backspin that was told, [rev/min] with the part of it that tilts away and the scatter of the lift model.
BACKSPIN_SD_RPM = 300.0
#: Backspin of zero stands for one that nobody measured: fastballs of 2000 rev/min up, curves of 1750 down. [rev/min]
UNKNOWN_BACKSPIN_SD_RPM = 1000.0

#: Points of a flight's path.
PATH_POINTS = 51
#: The ball has to cross the plate this near to the height asked for. [m]
AIM_M = 1e-5
#: Steps of the search for the angle of release; ordinary pitches take three.
AIM_STEPS = 12
#: No pitch is thrown more steeply. [rad]
STEEPEST_RAD = np.radians(75.0)


@dataclass(frozen=True)
class Descent:
    """Angle of the pitch at the plate.

    Attributes
    ----------
    angle_deg : float
        Negative is downward. [deg]
    sd_deg : float
        Standard deviation; 0 where the angle was given. [deg]
    method : str
        How it was found.
    """

    angle_deg: float
    sd_deg: float
    method: str


@dataclass(frozen=True)
class Flight:
    """A pitch from the hand to the front edge of the plate.

    Attributes
    ----------
    time_s : float
        [s]
    plate_speed_m_s : float
        [m/s]
    angle_deg : float
        Of the path at the plate, negative is downward. [deg]
    release_angle_deg : float
        Of the path at the hand, negative is downward. [deg]
    path : ndarray, shape (P, 2)
        Distance from the plate's rear tip along the ground, and height, from the hand on. [m]
    """

    time_s: float
    plate_speed_m_s: float
    angle_deg: float
    release_angle_deg: float
    path: FloatArray


@dataclass(frozen=True)
class _Throws:
    """N pitches at once: columns of equal length, SI units; `ground_m` runs from the hand to the plate's front edge."""

    speed: FloatArray
    height: FloatArray
    ground_m: FloatArray
    spin_rad_s: FloatArray
    plate_height: FloatArray
    drag: FloatArray
    density: FloatArray
    sport: Sport


def lift_coefficient(spin_factor: FloatArray) -> FloatArray:
    """Lift coefficient of a spinning baseball, 1.120 S / (0.583 + 2.333 S).

    Parameters
    ----------
    spin_factor : ndarray
        S, speed of the surface over speed of the ball, positive for backspin. [-]

    Returns
    -------
    ndarray
        Same shape; odd in S. [-]

    Notes
    -----
    Fit of AM Nathan's public trajectory calculator to measured pitches and batted balls, read at second hand. The
    measurements behind it span S = 0.09 to 0.6 at 22 to 49 m/s (Nathan AM (2008) Am J Phys 76:119-124). For softballs
    no measurement was seen and the same is taken.
    """
    coefficient: FloatArray = 1.120 * spin_factor / (0.583 + 2.333 * np.abs(spin_factor))
    return coefficient


def acceleration(
    velocity: FloatArray,
    spin_rad_s: FloatArray | float,
    sport: Sport,
    *,
    drag: FloatArray | float,
    density: FloatArray | float = AIR_DENSITY,
) -> FloatArray:
    """Acceleration of a thrown ball: gravity, drag and lift.

    Parameters
    ----------
    velocity : ndarray, shape (2, N)
        Toward the plate along the ground, and up. [m/s]
    spin_rad_s : ndarray, shape (N,), or float
        Backspin; negative is topspin. [rad/s]
    sport : {"baseball", "softball"}
        Whose ball.
    drag : ndarray, shape (N,), or float
        Drag coefficient. [-]
    density : ndarray, shape (N,), or float
        Of the air. [kg/m^3]

    Returns
    -------
    ndarray, shape (2, N)
        [m/s^2]

    Notes
    -----
    a = K v (-CD v_vec + CL n_vec v) + g with K = rho A / (2 m) and n_vec the path's direction turned up by 90 degrees.
    """
    ball = rule_book(sport)
    radius = ball["ball_radius_m"]
    per_metre = density * np.pi * radius**2 / (2.0 * ball["ball_mass_kg"])
    speed = np.hypot(velocity[0], velocity[1])
    lift = lift_coefficient(np.asarray(radius * spin_rad_s / speed))
    ground, up = velocity
    return np.stack(
        [per_metre * speed * (-drag * ground - lift * up), per_metre * speed * (-drag * up + lift * ground) - GRAVITY]
    )


def descent(setup: Setup) -> Descent:
    """Angle at which the pitch comes down at the plate, by the best that is known of it.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    Descent
        `pitch_angle_deg` as given; else integrated from `pitch`, its standard deviation carried over from those of
        speed, spin, places, drag and air; else the usual one of the sport.

    Raises
    ------
    OptionError
        The pitch does not reach the plate.
    """
    if setup.pitch_angle_deg is not None:
        return Descent(setup.pitch_angle_deg, 0.0, "given")
    if setup.pitch is not None:
        return _from_release(setup.pitch, setup.sport)
    return _usual(setup.sport)


def flight(pitch: Pitch, sport: Sport = "baseball", *, drag: float | None = None) -> Flight:
    """Integrate a pitch from the hand to the front edge of the plate.

    Parameters
    ----------
    pitch : Pitch
    sport : {"baseball", "softball"}
        Whose ball.
    drag : float or None
        Drag coefficient; None: the sport's, from ``assets/tables/pitches.toml``. [-]

    Returns
    -------
    Flight

    Raises
    ------
    OptionError
        The pitch does not reach the plate at the height asked for.
    """
    throw = _throws(pitch, sport, drag)
    angle = _aim(throw, pitch)
    time, height, ground_speed, up_speed = _fly(throw, angle, points=PATH_POINTS)[0]
    x = pitch.release_distance_m - np.linspace(0.0, 1.0, PATH_POINTS) * throw.ground_m
    return Flight(
        float(time[-1]),
        float(np.hypot(ground_speed[-1], up_speed[-1])),
        float(np.degrees(np.arctan2(up_speed[-1], ground_speed[-1]))),
        float(np.degrees(angle[0])),
        np.column_stack([x, height]),
    )


@lru_cache(maxsize=4)
def zone_half_height(sport: Sport) -> float:
    """Ball radius plus barrel radius, from ``assets/tables/rule_book.toml``. [m]"""
    sizes = rule_book(sport)
    return float(sizes["ball_radius_m"] + sizes["barrel_radius_m"])


@lru_cache(maxsize=2)
def _usual(sport: Sport) -> Descent:
    if sport == "baseball":
        return Descent(USUAL_BASEBALL_DEG, USUAL_SD_DEG[sport], "not given; the usual one in baseball")
    angle = flight(Pitch(**pitch_table()[sport]["usual"]), sport).angle_deg
    return Descent(angle, USUAL_SD_DEG[sport], f"not given; that of a usual pitch in {sport}")


@lru_cache(maxsize=256)
def _from_release(pitch: Pitch, sport: Sport) -> Descent:
    """Descent and its standard deviation: each input in turn a standard deviation up and down, all flown at once."""
    throws = _disturbed(_throws(pitch, sport, None), pitch, sport)
    _, _, ground_speed, up_speed = _fly(throws, _aim(throws, pitch))[..., -1].T
    angle = np.degrees(np.arctan2(up_speed, ground_speed))
    half_differences = (angle[1::2] - angle[2::2]) / 2.0
    sd = float(np.sqrt((half_differences**2).sum()))
    return Descent(float(angle[0]), sd, "integrated from the release with gravity, drag and lift")


def _throws(pitch: Pitch, sport: Sport, drag: float | None) -> _Throws:
    """One pitch as a column of length 1."""
    deep = rule_book(sport)["plate_width_m"]  # the plate is as deep as it is wide
    values = {
        "speed": pitch.speed_m_s,
        "height": pitch.release_height_m,
        "ground_m": pitch.release_distance_m - deep,
        "spin_rad_s": pitch.backspin_rpm * 2.0 * np.pi / 60.0,
        "plate_height": pitch.plate_height_m,
        "drag": pitch_table()[sport]["drag"] if drag is None else drag,
        "density": AIR_DENSITY,
    }
    return _Throws(sport=sport, **{name: np.array([value], dtype=np.float64) for name, value in values.items()})


def _disturbed(throw: _Throws, pitch: Pitch, sport: Sport) -> _Throws:
    """The pitch undisturbed, then for each uncertain input the pitch with it a standard deviation higher and lower."""
    spin_sd = BACKSPIN_SD_RPM if pitch.backspin_rpm else UNKNOWN_BACKSPIN_SD_RPM
    sds = {
        "speed": SPEED_SD_M_S,
        "height": RELEASE_HEIGHT_SD_M,
        "ground_m": RELEASE_DISTANCE_SD_M,
        "spin_rad_s": spin_sd * 2.0 * np.pi / 60.0,
        "plate_height": PLATE_HEIGHT_SD_M,
        "drag": pitch_table()[sport]["drag_sd"],
        "density": AIR_DENSITY * AIR_DENSITY_SD,
    }
    columns: dict[str, FloatArray] = {}
    for row, (name, sd) in enumerate(sds.items()):
        column = np.repeat(getattr(throw, name), 1 + 2 * len(sds))
        column[1 + 2 * row : 3 + 2 * row] += sd, -sd
        columns[name] = column
    return _Throws(sport=sport, **columns)


def _aim(throws: _Throws, pitch: Pitch) -> FloatArray:
    """Angles of release that meet the plate at the height asked for, by the secant method from the vacuum's. [rad]"""
    angle, slope = _vacuum_aim(throws)
    miss = _fly(throws, angle)[:, 1, -1] - throws.plate_height
    for _ in range(AIM_STEPS):
        if np.all(np.abs(miss) < AIM_M):
            return angle
        if not np.isfinite(miss).all():
            break
        better = np.clip(angle - miss / slope, -STEEPEST_RAD, STEEPEST_RAD)
        next_miss = _fly(throws, better)[:, 1, -1] - throws.plate_height
        step = better - angle
        # Columns that no longer move keep their slope.
        slope = np.divide(next_miss - miss, step, out=slope.copy(), where=np.abs(step) > 1e-9)
        slope = np.where(np.abs(slope) < 1e-6, 1e-6, slope)
        angle, miss = better, next_miss
    raise OptionError(
        f"pitch: a ball of {pitch.speed_m_s:g} m/s let go {pitch.release_distance_m:g} m from the plate's rear tip "
        f"does not, or only just, reach the plate at {pitch.plate_height_m:g} m; check speed_m_s and release_distance_m"
    )


def _vacuum_aim(throws: _Throws) -> tuple[FloatArray, FloatArray]:
    """The flatter angle that meets the plate without drag and lift [rad], and the height's slope over it. [m/rad]"""
    rise, ground = throws.plate_height - throws.height, throws.ground_m
    # rise = ground tan - sag (1 + tan^2): a quadratic in the tangent.
    sag = GRAVITY * ground**2 / (2.0 * throws.speed**2)
    root = np.sqrt(np.maximum(ground**2 - 4.0 * sag * (rise + sag), 0.0))
    tangent = 2.0 * (rise + sag) / (ground + root)
    slope = np.maximum((1.0 + tangent**2) * (ground - 2.0 * sag * tangent), 0.05 * ground)
    return np.arctan(tangent), slope


def _fly(throws: _Throws, angle: FloatArray, *, points: int = 2) -> FloatArray:
    """Time, height and the two speeds of N pitches at equal steps along the ground, shape (N, 4, points).

    The place along the ground is what is integrated over, so that every pitch ends at the plate; NaN where one comes
    to a stand on the way.
    """
    from scipy.integrate import solve_ivp

    n = len(angle)
    start = np.concatenate([np.zeros(n), throws.height, throws.speed * np.cos(angle), throws.speed * np.sin(angle)])

    def rates(_: float, state: FloatArray) -> FloatArray:
        velocity = state.reshape(4, n)[2:]
        change = acceleration(velocity, throws.spin_rad_s, throws.sport, drag=throws.drag, density=throws.density)
        per_share = throws.ground_m / velocity[0]
        return np.concatenate([per_share, per_share * velocity[1], per_share * change[0], per_share * change[1]])

    shares = np.linspace(0.0, 1.0, points)
    solution = solve_ivp(rates, (0.0, 1.0), start, method="DOP853", t_eval=shares, rtol=1e-7, atol=1e-9)
    if not solution.success:
        return np.full((n, 4, points), np.nan)
    flown: FloatArray = solution.y.reshape(4, n, points).transpose(1, 0, 2)
    return flown
