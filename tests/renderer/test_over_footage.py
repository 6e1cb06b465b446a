"""Pictures over footage: drawn where the camera sees it, in step with it, and nothing half done.

The truth is a virtual hitter's own, seen through `Camera.project`. Where in the finished picture a pixel of the video
lies is not taken from the product: green rings are drawn into the video round the truth and found again.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
from PIL import Image, ImageDraw
from scipy import ndimage

import mocap
from mocap.comparison import Comparison
from mocap.errors import InputError, OptionError, OutputError
from mocap.findings import Findings
from mocap.importer.camera import Camera
from mocap.reference.compare import with_pose_distance
from mocap.reference.parameters import SwingParameters
from mocap.renderer.encoder import Encoder
from mocap.renderer.footage_film import BesideFootage, FootageFilm, OverFootage, Playing
from mocap.renderer.footage_time import camera_clock, clock_from_moments, moment_s
from mocap.renderer.guides import Canvas
from mocap.renderer.lens import CameraLens
from mocap.renderer.over_footage import draw_over_footage, draw_still_over_footage
from mocap.renderer.page import overlap
from mocap.renderer.pen import Pen
from mocap.renderer.scene import Scene
from mocap.renderer.skeleton_lines import SkeletonLines
from mocap.renderer.tempo import Tempo
from mocap.renderer.video import Video, open_video
from mocap.swing import POINTS, Hitter, Setup
from mocap.virtual.cameras import TWO_TRIPODS, duration_of, lab_from_hitting, place_camera
from mocap.virtual.footage import Footage, render_footage
from mocap.virtual.hitter import VirtualHitter
from mocap.virtual.lab import Lab
from mocap.virtual.motion import Motion
from mocap.virtual.recording import record

LAB = Lab(turn_deg=35.0, shift=(1.3, 0.8, 0.0))
RATE_HZ = 30.0
BENT = (-0.28, 0.08, 0.002, -0.001, 0.0)  # a wide action camera's
TRIPOD = replace(
    TWO_TRIPODS[0], size=(640, 360), rate_hz=RATE_HZ, distortion=BENT, distance_m=4.2, field_of_view_deg=64
)
LARGE = replace(TRIPOD, size=(1280, 720))
Drawer = Callable[[ImageDraw.ImageDraw, int], None]

pytestmark = pytest.mark.usefixtures("can_draw")


@dataclass(frozen=True)
class Filmed:
    """A swing whose truth is known, and the camera that sees it from 0.2 s before its recording on."""

    hitter: VirtualHitter
    motion: Motion
    camera: Camera
    comparison: Comparison
    findings: Findings

    def true_pixels(self, frame: int) -> np.ndarray:
        """Where the camera sees `POINTS` in one of its pictures, shape (P, 2)."""
        time = self.camera.time_offset_s + frame / RATE_HZ + self.hitter.parameters.timing.start
        by_name = self.motion.points(np.array([time]))
        transform = lab_from_hitting(self.hitter, LAB)
        points = np.stack([by_name[name][0] for name in POINTS])
        return self.camera.project(points @ transform[:3, :3].T + transform[:3, 3])

    @property
    def plant_frame(self) -> int:
        return round((moment_s(self.comparison.swing, "plant") - self.camera.time_offset_s) * RATE_HZ)


def filmed(bats: str) -> Filmed:
    hitter = VirtualHitter("h1", "Demo hitter", SwingParameters(), 80.0, bats=bats)
    camera = replace(place_camera(TRIPOD, LAB, bats), time_offset_s=-0.2)
    swing = mocap.build_swing(record(hitter, LAB, noise_m=0.0), Hitter("Hitter 1", hitter.height_m, bats=bats), Setup())
    comparison = mocap.compare(swing, mocap.load_reference("standard"))
    findings = with_pose_distance(mocap.measure(swing), comparison, limits=None)
    return Filmed(hitter, Motion.of(hitter), camera, comparison, findings)


@pytest.fixture(scope="module")
def right() -> Filmed:
    return filmed("right")


@pytest.fixture(scope="module")
def left() -> Filmed:
    return filmed("left")


def write_video(
    path: Path, n_frames: int, draw: Drawer, size: tuple[int, int] = (640, 360), last: Image.Image | None = None
) -> Path:
    with Encoder(path, size, 30) as encoder:
        for frame in range(n_frames):
            picture = Image.new("RGB", size)
            draw(ImageDraw.Draw(picture), frame)
            if last is not None and frame == n_frames - 1:
                picture = last
            encoder.write(picture.tobytes())
    return path


def nothing(_: ImageDraw.ImageDraw, __: int) -> None:
    """A black picture."""


def grey_of(frame: int) -> int:
    return 20 + 37 * frame % 200


def number(on: ImageDraw.ImageDraw, frame: int) -> None:
    """The picture's number as brightness, far from that of its neighbours."""
    grey = grey_of(frame)
    on.rectangle((0, 0, 4096, 4096), fill=(grey, grey, grey))


def blobs(mask: np.ndarray) -> np.ndarray:
    """Centres of connected areas, shape (N, 2); pixel (0, 0) covers 0 to 1. [px]"""
    labelled, count = ndimage.label(mask)
    centres = ndimage.center_of_mass(mask, labelled, range(1, count + 1))
    return np.array(centres).reshape(-1, 2)[:, ::-1] + 0.5


def white_discs(picture: np.ndarray, radius: int = 4) -> np.ndarray:
    """Centres of what is white over a disc of that radius: joints, but no lines."""
    y, x = np.mgrid[-radius : radius + 1, -radius : radius + 1]
    mask = (picture.min(axis=2) > 235) & (picture.max(axis=2) > 235)
    return blobs(ndimage.binary_erosion(mask, x * x + y * y <= radius * radius))


# -------------------------------------------------------------------- where things are drawn


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1920)])
def test_joints_and_bat_are_drawn_where_the_video_shows_them(request, tmp_path, side, size) -> None:
    """Rings of the video's own round the truth, and the joints that are drawn, have the same middles."""
    shot: Filmed = request.getfixturevalue(side)
    names = ("head", "front_knee", "front_ankle", "bat_barrel")
    shot = replace(shot, camera=replace(place_camera(LARGE, LAB, side), time_offset_s=-0.2))
    true = shot.true_pixels(shot.plant_frame)[[POINTS.index(name) for name in names]]
    video = write_video(tmp_path / "clip.mp4", shot.plant_frame + 1, nothing, LARGE.size, rings_round(true))
    still = draw_still_over_footage(
        shot.comparison, shot.findings, video, tmp_path / "a.png", camera=shot.camera, size=size, guides="none"
    )
    picture = np.asarray(Image.open(still)).astype(int)
    green = picture[..., 1] - np.maximum(picture[..., 0], picture[..., 2]) > 40
    where = np.argwhere(green)[:, ::-1] + 0.5
    yellow = blobs(np.abs(picture - (0xDD, 0xAA, 0x33)).max(axis=2) < 25)
    found = 0
    for disc in np.concatenate([white_discs(picture), yellow]):
        near = where[np.linalg.norm(where - disc, axis=1) < 40]
        if len(near) > 150:
            centre, radius, rough = fitted_circle(near)
            if rough < 0.15 * radius:  # else it is beside a ring, not in one
                assert np.linalg.norm(centre - disc) < 1.0
                found += 1
    assert found == len(names)


def rings_round(places: np.ndarray) -> Image.Image:
    """Green rings of 17 px round pixels, shape (N, 2), counted from the middle of the first; soft at their edges."""
    y, x = np.mgrid[: LARGE.size[1], : LARGE.size[0]]
    away = np.min([np.abs(np.hypot(x - u, y - v) - 17.0) for u, v in places], axis=0)
    level = np.clip(3.0 - away, 0.0, 1.0)
    return Image.fromarray((level[..., None] * (0, 255, 0)).astype(np.uint8))


def fitted_circle(points: np.ndarray) -> tuple[np.ndarray, float, float]:
    """Centre, radius and scatter of the radii, by least squares: |p|^2 = 2 c p + (r^2 - |c|^2)."""
    matrix = np.column_stack([2.0 * points, np.ones(len(points))])
    x, y, rest = np.linalg.lstsq(matrix, (points**2).sum(axis=1), rcond=None)[0]
    radii = np.hypot(points[:, 0] - x, points[:, 1] - y)
    return np.array([x, y]), float(np.sqrt(rest + x * x + y * y)), float(radii.std())


def test_the_bones_bend_as_the_lens_bends_them(right: Filmed) -> None:
    """Points along each bone in space, through the camera, lie on white; a straight stroke would not."""
    place, aside = LAB.place(np.array([[0.0, -2.8, 1.0], [-1.9, 0.0, 1.3]]))
    camera = Camera.looking_at(place, aside, size=(1920, 1080), field_of_view_deg=84.0, distortion=BENT)
    swing, row = right.comparison.swing, right.comparison.swing.index("plant")
    lens = CameraLens(camera, swing.lab_from_hitting, camera.size)
    picture = Image.new("RGB", camera.size)
    SkeletonLines(right.comparison).draw(Canvas(Pen(picture), lens, 1.0), row)
    white, worst = np.asarray(picture).min(axis=2), 0.0
    for names in (("front_hip", "front_knee"), ("front_knee", "front_ankle"), ("bat_knob", "bat_barrel")):
        ends = swing.points[row][[POINTS.index(name) for name in names]]
        seen = lens.project(ends[0] + np.linspace(0.2, 0.8, 15)[:, None] * (ends[1] - ends[0]))
        column, line = np.floor(seen).astype(int).T
        assert (white[line, column] > 200).all(), names
        first, last = lens.project(ends)
        across = np.array([first[1] - last[1], last[0] - first[0]]) / np.linalg.norm(last - first)
        worst = max(worst, float(np.abs((seen - first) @ across).max()))
    assert worst > 2.0  # half a stroke is 1.5: a straight one would have missed


def over(
    shot: Filmed, video: Path, size: tuple[int, int] = (1920, 1080), playing: Playing | None = None
) -> OverFootage:
    scene = Scene(shot.comparison, shot.findings)
    clock = camera_clock(shot.camera, 0.0)
    return OverFootage(scene, open_video(video), clock, size, playing or Playing(), camera=shot.camera)


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_skeleton_lies_in_the_filmed_body_through_the_swing(request, tmp_path, side) -> None:
    """Where the middles of the bones are drawn, the video shows the hitter and not the empty cage."""
    shot: Filmed = request.getfixturevalue(side)
    camera = replace(shot.camera, time_offset_s=0.0, rate_hz=10.0)
    video = render_footage(shot.hitter, camera, LAB, tmp_path / "clip.mp4")
    with over(replace(shot, camera=camera), video) as film, Footage(shot.hitter, camera, LAB) as footage:
        empty = np.asarray(footage.backdrop.picture).astype(int)
        deep = [POINTS.index(name) for name in ("pelvis", "neck", "head", "front_knee", "back_knee", "front_ankle")]
        with film.video.pictures(film.frames) as pictures:
            for frame, picture in zip(film.frames, pictures, strict=True):
                pixels = camera.project(_in_lab(film, frame)[deep])
                column, row = np.rint(pixels).astype(int).T
                change = np.abs(np.asarray(picture).astype(int) - empty).max(axis=2)
                assert (ndimage.maximum_filter(change, 3)[row, column] > 12).all(), frame


def _in_lab(film: OverFootage, frame: int) -> np.ndarray:
    swing = film.scene.swing
    return swing.points[film.row(frame)] @ swing.lab_from_hitting[:3, :3].T + swing.lab_from_hitting[:3, 3]


def test_a_larger_video_of_the_same_proportions_is_scaled_and_says_so(right: Filmed, tmp_path) -> None:
    video = write_video(tmp_path / "clip.mp4", right.plant_frame + 1, nothing, (1280, 720))
    still = draw_still_over_footage(
        right.comparison, right.findings, video, tmp_path / "a.png", camera=right.camera, guides="none"
    )
    small = draw_still_over_footage(
        right.comparison,
        right.findings,
        write_video(tmp_path / "small.mp4", right.plant_frame + 1, nothing),
        tmp_path / "b.png",
        camera=right.camera,
        guides="none",
    )
    assert np.asarray(Image.open(still)).shape == np.asarray(Image.open(small)).shape
    with over(right, video) as film:
        assert "camera calibrated at 640\N{MULTIPLICATION SIGN}360" in [label.words for label in film.legend.labels]


# -------------------------------------------------------------------- in step


@pytest.mark.parametrize("calibrated", [True, False])
def test_each_picture_of_the_film_shows_the_video_picture_of_its_time(right: Filmed, tmp_path, calibrated) -> None:
    """At real time and the camera's own rate the film's n-th picture is the n-th of those that the recording covers."""
    swing = right.comparison.swing
    video = write_video(tmp_path / "clip.mp4", 70, number)
    link = {"camera": right.camera} if calibrated else {"camera": None, "video_moments": {"plant": right.plant_frame}}
    path = draw_over_footage(
        right.comparison,
        right.findings,
        video,
        tmp_path / "film.mp4",
        **link,
        video_rate_hz=RATE_HZ,
        size=(640, 360),
        fps=30,
        speed=1.0,
        hold_s=0.0,
        guides="none",
    )
    pictures = read_back(path, (640, 360))
    first = 6  # of 30 a second, from 0.2 s before the recording on
    if not calibrated:
        plant_s = moment_s(swing, "plant")
        first = int(np.ceil(right.plant_frame - plant_s * RATE_HZ - 1e-6))
    length = int(np.floor((swing.n_frames - 1) / swing.rate_hz * RATE_HZ + 1e-6)) + 1
    assert abs(len(pictures) - length) <= 1
    corner = video_corner(right, video, (640, 360), calibrated=calibrated)
    for place, picture in enumerate(pictures):
        seen = picture[corner[1] + 4 : corner[1] + 12, corner[0] + 4 : corner[0] + 12].mean()
        assert abs(seen - grey_of(first + place)) < 8.0, place


def video_corner(shot: Filmed, video: Path, size: tuple[int, int], *, calibrated: bool) -> tuple[int, int]:
    if calibrated:
        with over(shot, video, size) as film:
            return film.crop.box[:2]
    with beside(shot, video, size) as film:
        return film.crop.box[:2]


def beside(shot: Filmed, video: Path, size: tuple[int, int] = (1920, 1080)) -> BesideFootage:
    clock = clock_from_moments(shot.comparison.swing, {"plant": shot.plant_frame}, RATE_HZ)
    scene = Scene(shot.comparison, shot.findings)
    return BesideFootage(scene, open_video(video), clock, size, Playing(tempo=Tempo(hold_s=0.2)))


def read_back(path: Path, size: tuple[int, int]) -> np.ndarray:
    decoder = [
        imageio_ffmpeg.get_ffmpeg_exe(),
        "-v",
        "error",
        "-i",
        str(path),
        "-f",
        "rawvideo",
        "-pix_fmt",
        "rgb24",
        "-",
    ]
    done = subprocess.run(decoder, capture_output=True, check=True)
    return np.frombuffer(done.stdout, dtype=np.uint8).reshape(-1, size[1], size[0], 3).astype(float)


def test_moments_are_held_on_their_own_pictures(right: Filmed, tmp_path) -> None:
    video = write_video(tmp_path / "clip.mp4", 70, nothing)
    with over(right, video, playing=Playing(30, Tempo(hold_s=0.5))) as film:
        held = {shot.held: shot for shot in film.shots if shot.held}
        assert {name: shot.times for name, shot in held.items()} == {"plant": 15, "contact": 15}
        for name, shot in held.items():
            assert abs(float(film.clock.time_s(shot.frame)) - moment_s(right.comparison.swing, name)) < 0.51 / RATE_HZ
        frames = [shot.frame for shot in film.shots]
        assert frames == sorted(frames)
        assert set(frames) <= set(film.frames)


def test_a_video_that_begins_after_plant_says_so(right: Filmed, tmp_path) -> None:
    late = replace(right.camera, time_offset_s=moment_s(right.comparison.swing, "plant") + 0.1)
    video = write_video(tmp_path / "clip.mp4", 12, nothing)
    with over(replace(right, camera=late), video) as film:
        assert "foot-plant lies outside the video" in film.legend.labels[-1].words
        assert [shot.held for shot in film.shots if shot.held] in ([], ["contact"])
        assert len(film.guides_in(film.shots[0])) > 0
    with pytest.raises(OptionError, match=r"clip.mp4: cannot show foot-plant: the video does not show it"):
        draw_still_over_footage(right.comparison, right.findings, video, tmp_path / "a.png", camera=late)


# -------------------------------------------------------------------- the page


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1920), (1080, 1080), (640, 360)])
@pytest.mark.parametrize("make", [over, beside])
def test_type_stays_inside_apart_and_off_the_video(right: Filmed, tmp_path, size, make) -> None:
    video = write_video(tmp_path / "clip.mp4", 70, nothing)
    film: FootageFilm
    with make(right, video, size) as film:
        foot = film.legend if isinstance(film, OverFootage) else film.footer
        fixed = [*(label.box for label in (*foot.labels, *film.timeline.labels)), film.crop.box]
        if isinstance(film, BesideFootage):
            fixed.append(film.panel.box)
        for shot in [*film.shots[::9], *(shot for shot in film.shots if shot.held)]:
            boxes = [*fixed, film.set_caption(film.caption(shot)).box]
            for left_edge, top, right_edge, bottom in boxes:
                assert 0 <= left_edge < right_edge <= size[0]
                assert 0 <= top < bottom <= size[1]
            for one, other in combinations(boxes, 2):
                assert not overlap(one, other), (one, other)


def test_a_variable_rate_is_noted(right: Filmed, tmp_path) -> None:
    video = open_video(write_video(tmp_path / "clip.mp4", 70, nothing))
    clock, scene = camera_clock(right.camera, 0.0), Scene(right.comparison, right.findings)
    with OverFootage(scene, replace(video, uneven=True), clock, (1920, 1080), Playing(), camera=right.camera) as film:
        assert film.legend.labels[-1].words == "uneven pictures, taken as even"


def test_the_whole_hitter_is_in_the_part_of_the_video_that_is_shown(right: Filmed, tmp_path) -> None:
    video = write_video(tmp_path / "clip.mp4", 70, nothing)
    for size in ((1920, 1080), (1080, 1920), (1080, 1080)):
        with over(right, video, size) as film:
            width, height = film.crop.shown
            pixels = film.lens.project(film.scene.swing.points[film.rows])
            assert (pixels > 0).all()
            assert (pixels < (width, height)).all()


# -------------------------------------------------------------------- what goes wrong


def test_faults_are_named_before_anything_is_drawn(right: Filmed, tmp_path) -> None:
    video = write_video(tmp_path / "clip.mp4", 8, nothing)
    other = replace(right.camera, size=(360, 640))
    away = replace(right.camera, translation=np.array([0.0, 0.0, -9.0]))

    def draw(**options: object) -> None:
        draw_over_footage(right.comparison, right.findings, video, tmp_path / "a.mp4", **options)

    for options, message in (
        ({"camera": None}, "not linked to the swing"),
        ({"camera": replace(right.camera, rate_hz=None)}, "rate_hz is not given"),
        ({"camera": other}, "are 640x360, those of camera open_side 360x640; it was calibrated lying"),
        ({"camera": away}, "beside or behind it"),
        ({"camera": replace(right.camera, time_offset_s=60.0)}, "check the camera's time_offset_s"),
        ({"camera": right.camera, "size": (641, 360)}, "641x360"),
        ({"camera": right.camera, "moments": ("strike",)}, "'strike'"),
        ({"camera": right.camera, "guides": ("lasso",)}, "lasso"),
    ):
        with pytest.raises(OptionError, match=message) as raised:
            draw(**options)
        assert "\n" not in str(raised.value)
    with pytest.raises(OptionError, match="moment 'strike' is not known"):
        draw_still_over_footage(
            right.comparison, right.findings, video, tmp_path / "a.png", camera=right.camera, moment="strike"
        )
    with pytest.raises(OutputError, match="nowhere"):
        draw_over_footage(right.comparison, right.findings, video, tmp_path / "nowhere" / "a.mp4", camera=right.camera)
    assert [file.name for file in tmp_path.iterdir()] == ["clip.mp4"]


@pytest.mark.parametrize("error", [KeyboardInterrupt, InputError])
def test_a_film_that_is_stopped_leaves_the_older_one_and_no_half(right: Filmed, tmp_path, monkeypatch, error) -> None:
    video = write_video(tmp_path / "clip.mp4", 70, nothing)
    target = tmp_path / "film.mp4"
    target.write_bytes(b"older")

    def stop(done: int, _: int) -> None:
        if done > 3:
            raise KeyboardInterrupt

    if error is InputError:  # as of a file that is cut off: fewer pictures than it promises
        monkeypatch.setattr(Video, "_read", lambda self, _, frames: cut_off(self, frames))
    with pytest.raises(error):
        draw_over_footage(
            right.comparison,
            right.findings,
            video,
            target,
            camera=right.camera,
            size=(320, 180),
            progress=stop if error is KeyboardInterrupt else None,
        )
    assert sorted(file.name for file in tmp_path.iterdir()) == ["clip.mp4", "film.mp4"]
    assert target.read_bytes() == b"older"


def cut_off(video: Video, frames: range):
    yield Image.new("RGB", video.size)
    raise InputError(f"{video.path}: cannot be decoded beyond frame {frames.start}")


def test_a_recording_is_as_long_as_its_swing(right: Filmed) -> None:
    """The clock of these tests: the recording begins with the virtual hitter's own time."""
    swing = right.comparison.swing
    assert (swing.n_frames - 1) / swing.rate_hz == pytest.approx(duration_of(right.hitter), abs=1.5 / swing.rate_hz)
