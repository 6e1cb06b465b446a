"""The film: as many frames, as large and as slow as promised; nothing left behind when it is stopped."""

from __future__ import annotations

import re
import subprocess
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
from PIL import Image

from mocap.errors import OptionError, OutputError
from mocap.renderer import draw_film
from mocap.renderer.captions import finding_words
from mocap.renderer.encoder import CHAT_FPS
from mocap.renderer.film import Film, FilmSetup, views_of
from mocap.renderer.film_page import FilmPage, film_type
from mocap.renderer.guides import GUIDES
from mocap.renderer.page import overlap
from mocap.renderer.retiming import retimed
from mocap.renderer.tempo import Tempo, frame_count
from mocap.swing import MOMENTS

SIZE = (640, 360)
BRIEF = {"speed": 0.5, "hold_s": 0.2, "fps": 10}  # little to draw where the pictures themselves do not matter


def film_of(shown, size=(1920, 1080), views="open side", beside=None, **settings) -> Film:
    tempo = Tempo(**{key: settings.pop(key) for key in ("speed", "hold_s", "held") if key in settings})
    setup = FilmSetup(size, views=views_of(views, beside=beside is not None), tempo=tempo, **settings)
    return Film((shown.comparison, shown.findings), setup, beside)


def another(shown):
    """Another swing: it begins later, and is a fifth slower from plant on."""
    plant = shown.comparison.swing.index("plant")
    frames = np.concatenate(
        [np.arange(20.0, plant), np.arange(plant, shown.comparison.swing.n_frames - 1.0, 1.0 / 1.2)]
    )
    hitter = replace(shown.findings.hitter, name="Hitter 2")
    return retimed(shown.comparison, frames, shown.comparison.swing.rate_hz), replace(shown.findings, hitter=hitter)


def read_back(path: Path) -> tuple[np.ndarray, str]:
    """Every video frame, shape (N, H, W, 3), and what the decoder says about the file."""
    decoder = [imageio_ffmpeg.get_ffmpeg_exe(), "-i", str(path), "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
    done = subprocess.run(decoder, capture_output=True, check=True)
    return np.frombuffer(done.stdout, dtype=np.uint8).reshape(-1, SIZE[1], SIZE[0], 3), done.stderr.decode()


@pytest.mark.usefixtures("can_draw")
def test_the_film_has_the_promised_frames_size_rate_and_format(shown, tmp_path) -> None:
    calls: list[tuple[int, int]] = []
    path = draw_film(
        shown.comparison,
        shown.findings,
        tmp_path / "overlay.mp4",
        size=SIZE,
        title="Player meeting\nMain field",
        progress=lambda done, total: calls.append((done, total)),
    )
    film = film_of(shown, SIZE)
    card = 75  # 2.5 s
    expected = card + frame_count(film.shots)
    frames, about = read_back(path)
    assert len(frames) == expected
    assert re.search(r"Video: h264.*yuv420p\(tv, bt709.*640x360.*\b30 fps", about)
    hours, minutes, seconds = re.search(r"Duration: (\d+):(\d+):([\d.]+)", about).groups()
    assert float(seconds) + 60 * int(minutes) + 3600 * int(hours) == pytest.approx(expected / 30, abs=0.05)
    assert calls[-1] == (expected, expected)
    assert [done for done, _ in calls] == sorted({done for done, _ in calls})
    # Where it stands still it does, and where it runs it does not.
    change = [np.abs(a.astype(int) - b.astype(int)).mean() for a, b in pairwise(frames)]
    held = next(i for i, shot in enumerate(film.shots) if shot.held == "plant")
    start = card + frame_count(film.shots[:held])
    still, moving = (float(np.median(change[start + a : start + b])) for a, b in ((0, 44), (50, 70)))
    assert still < 0.05 < 0.2 < moving  # the median, as each key frame is coded anew
    assert (
        np.abs(frames[10].astype(int) - frames[card + 10].astype(int)).mean() > 1.0
    )  # the card is no part of the swing
    assert [file.name for file in tmp_path.iterdir()] == ["overlay.mp4"]


@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize("suffix", [".gif", ".webp"])
def test_a_film_for_a_chat_is_small_and_lasts_as_long(shown, tmp_path, suffix) -> None:
    path = draw_film(shown.comparison, shown.findings, tmp_path / f"film{suffix}", size=(960, 960), speed=0.25)
    shots = film_of(shown, (640, 640), fps=CHAT_FPS, speed=0.25).shots
    with Image.open(path) as film:
        assert film.size == (640, 640)
        time_ms = 0.0
        for frame in range(film.n_frames):
            film.seek(frame)
            film.load()
            time_ms += film.info["duration"]
    assert time_ms == pytest.approx(1000.0 * frame_count(shots) / CHAT_FPS, abs=150.0)
    assert path.stat().st_size < 10e6


@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError])
def test_a_film_that_is_stopped_leaves_the_older_one_and_no_half(shown, tmp_path, error) -> None:
    target = tmp_path / "overlay.mp4"
    target.write_bytes(b"older")

    def stop(done: int, _: int) -> None:
        if done > 3:
            raise error

    with pytest.raises(error):
        draw_film(shown.comparison, shown.findings, target, size=SIZE, progress=stop)
    assert [file.name for file in tmp_path.iterdir()] == ["overlay.mp4"]
    assert target.read_bytes() == b"older"


def test_what_cannot_be_filmed_is_refused_in_one_line(shown, tmp_path) -> None:
    def refused(words: str, name: str = "a.mp4", **wrong) -> None:
        with pytest.raises(OptionError, match=words) as caught:
            draw_film(shown.comparison, shown.findings, tmp_path / name, **{"size": SIZE, **wrong})
        assert "\n" not in str(caught.value)

    refused("641x360", size=(641, 360))
    refused("320x180 is too small", size=(320, 180))
    refused("0 frames a second", fps=0)
    refused("mp4, .gif or .webp", name="a.avi")
    refused("view 'attic' is not known", view="attic")
    refused("3 views", view=("open side", "pitcher", "above"))
    refused("one or two views of each", view=("open side", "pitcher", "above", "catcher"), beside=another(shown))
    refused("guide 'halo' is not known", guides=("halo",))
    refused("'touchdown' cannot be held", moments=("touchdown",))
    refused("speed 0 cannot be watched", speed=0.0)
    with pytest.raises(OutputError, match="nowhere"):
        draw_film(shown.comparison, shown.findings, tmp_path / "nowhere" / "a.mp4", size=SIZE)
    assert not list(tmp_path.iterdir())


SIZES = [
    (1920, 1080),
    (1080, 1920),
    (1080, 1080),
    (1280, 720),
    (3840, 2160),
    (720, 1280),
    (640, 360),
    (360, 640),
    (640, 640),
    (480, 270),
    (270, 480),
]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("panels", ["one", "two views", "four views", "beside"])
def test_type_stays_inside_and_apart_through_the_film(shown, size, panels) -> None:
    views = {"two views": ("open side", "pitcher"), "four views": ("open side", "above", "catcher", "120,25")}
    beside = another(shown) if panels == "beside" else None
    film = film_of(shown, size, views.get(panels, "open side"), beside, held=MOMENTS)
    strip = [label.box for label in film.timeline.labels]
    assert {"Foot-plant", "Contact"} <= {label.words for label in film.timeline.labels}
    for shot in film.shots[::17] + [shot for shot in film.shots if shot.held]:
        boxes = [film.footer.box, *strip, *(block.box for block in film.type_of(shot))]
        for left, top, right, bottom in boxes:
            assert 0 <= left < right <= size[0]
            assert 0 <= top < bottom <= size[1]
        for one, other in combinations(boxes, 2):
            assert not overlap(one, other)


@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1920), (1080, 1080), (640, 360)])
@pytest.mark.parametrize("panels", [1, 2])
def test_the_guides_numbers_stand_clear_of_all_other_type_and_of_the_bodies(shown, size, panels) -> None:
    film = film_of(shown, size, "open side" if panels == 1 else ("open side", "above"), guides="all")
    seen = 0
    for shot in (shot for shot in film.shots if shot.held):
        for place, panel in enumerate(film.panels):
            left, top = panel.box[:2]
            solid = np.zeros(panel.framing.size[::-1], dtype=bool)
            x0, y0, x1, y1 = panel.framing.box_around(panel.scene.reach([shot.number]), 0.0)
            solid[y0:y1, x0:x1] = True
            taken = [(a - left, b - top, c - left, d - top) for a, b, c, d in film.boxes(shot)]
            stated = film.stated(shot)
            notes = film.guides[place].numbers(film.page, shot.number, solid, taken, stated)
            boxes = [note.box for note in notes]
            for one, other in combinations(boxes, 2):
                assert not overlap(one, other)
            for box in boxes:
                assert not any(overlap(box, other) for other in [*taken, (x0, y0, x1, y1)])
                assert 0 <= box[0] < box[2] <= panel.framing.size[0]
                assert 0 <= box[1] < box[3] <= panel.framing.size[1]
            said = [" ".join(label.words for label in note.labels) for note in notes]
            assert len(said) == len(set(said))
            if "axis_drift" in stated:
                assert not any("Axis drifts" in words for words in said)
            seen += len(notes)
    assert seen > 0 or size[0] < 1080 or panels == 2


@pytest.mark.parametrize("size", [(1080, 1920), (1080, 1080), (720, 1280), (2160, 3840)])
def test_type_of_upright_and_square_films_can_be_read_on_a_phone(shown, size) -> None:
    film = film_of(shown, size)
    labels = [label for shot in film.shots if shot.held for block in film.type_of(shot) for label in block.labels]
    labels += [*film.footer.labels, *film.timeline.labels]
    assert min(label.size for label in labels) >= size[0] / 32
    assert film_type((1920, 1080)).small >= 22


@pytest.mark.parametrize("size", SIZES)
def test_bodies_stay_clear_of_the_caption_and_of_the_strip(shown, size) -> None:
    film = film_of(shown, size)
    low, high = film.panels[0].framing.extent(film.scenes[0].reach(range(0, film.scenes[0].swing.n_frames, 5)))
    page = FilmPage(size)
    captions = [film.type_of(shot)[0].box for shot in film.shots if shot.held]
    if page.page.wide:
        assert low[0] >= max(box[2] for box in captions) - 1
    else:
        assert low[1] >= max(box[3] for box in captions)
    assert high[0] <= size[0]
    assert high[1] < min(label.box[1] for label in film.timeline.labels)
    assert (high[1] - low[1]) / size[1] > 0.28  # the bodies are what is seen


def test_held_pictures_say_what_is_found_and_no_word_twice(shown) -> None:
    film = film_of(shown)
    for name, said in (("plant", "on the back foot"), ("contact", "by contact")):
        (shot,) = (shot for shot in film.shots if shot.held == name)
        assert shot.frame == shown.comparison.swing.index(name)
        caption = film.caption(shot)
        assert said in caption.said.words.replace("\N{NO-BREAK SPACE}", " ")
        assert caption.when.lower().count("foot-plant") + caption.moment.lower().count("foot-plant") <= 1
        assert caption.speed == "held still"
    assert film.caption(film.shots[0]).speed.endswith("slower than real time")


def test_what_is_off_stands_first_and_the_headlines_own_measure_once(shown) -> None:
    verdicts = {"foot_open": "near", "trunk_open": "off", "separation_length": "off", "pelvis_open": "good"}
    checks = tuple(replace(check, verdict=verdicts.get(check.measure, "good")) for check in shown.findings.checks)
    findings = replace(shown.findings, checks=checks)
    film = Film((shown.comparison, findings), FilmSetup((1920, 1080)))
    (shot,) = (shot for shot in film.shots if shot.held == "plant")
    caption = film.caption(shot)
    told = {name: finding_words(findings, name, "metric")[1] for name in verdicts}
    assert caption.said.verdict == "off"
    assert caption.said.words == told[caption.said.measure]
    assert [finding.verdict for finding in caption.findings] == ["off", "near"]
    other = ({"trunk_open", "separation_length"} - {caption.said.measure}).pop()
    assert [finding.words.partition(" (")[0] for finding in caption.findings] == [
        told[name].partition(" (")[0] for name in (other, "foot_open")
    ]


def test_a_guide_does_not_repeat_what_the_caption_says(shown) -> None:
    """All guides at plant: the number of one that the caption tells is not set beside it again."""
    verdicts = {"separation_length": "off", "front_knee_flexion": "near"}
    checks = tuple(replace(check, verdict=verdicts.get(check.measure, "good")) for check in shown.findings.checks)
    film = Film((shown.comparison, replace(shown.findings, checks=checks)), FilmSetup((1920, 1080), guides="all"))
    (shot,) = (shot for shot in film.shots if shot.held == "plant")
    assert film.stated(shot) == set(verdicts)
    clear = np.zeros((1080, 1920), dtype=bool)
    stated, every = (
        {label.words.split(" ")[0] for note in notes for label in note.labels[:1]}
        for notes in (film.guides[0].numbers(film.page, shot.number, clear, [], told) for told in (set(verdicts), ()))
    )
    assert every - stated == {"Front"}  # front ankle to hands, and front knee


@pytest.mark.parametrize("stated", [False, True])
def test_the_weight_s_number_stands_under_its_bar_in_the_held_picture(shown, stated) -> None:
    checks = tuple(
        replace(check, verdict="off") if not stated and check.measure == "trunk_open" else check
        for check in shown.findings.checks
    )
    film = Film((shown.comparison, replace(shown.findings, checks=checks)), FilmSetup((1920, 1080)))
    (shot,) = (shot for shot in film.shots if shot.held == "plant")
    share = f"{100 * shown.findings.measures['back_share'].value:.0f}"
    for told, picture in ((not stated, shot), (False, film.shots[film.shots.index(shot) - 1])):
        (under,) = (
            label.words
            for block in film.type_of(picture)
            for label in block.labels
            if "good:" in label.words[:16] and "on the back foot" in label.words
        )
        assert under.startswith(share) == told


def test_a_swing_beside_another_is_in_step_at_every_moment(shown) -> None:
    other = another(shown)
    film = film_of(shown, beside=other)
    lead, second = film.scenes
    lead_frames = np.array([shot.frame for shot in film.shots if not shot.held])
    for name in ("stance", "plant", "contact", "extension"):
        number = int(np.flatnonzero(lead_frames == shown.comparison.swing.index(name))[0]) if name != "stance" else None
        if number is None:
            number = lead.swing.index(name)
            assert abs(second.swing.index(name) - number) <= 1
            continue
        assert lead.swing.index(name) == second.swing.index(name) == number
        assert second.swing.points[number] == pytest.approx(
            other[0].swing.points[other[0].swing.index(name)], nan_ok=True, abs=1e-9
        )
        assert lead.swing.points[number] == pytest.approx(
            shown.comparison.swing.points[shown.comparison.swing.index(name)], nan_ok=True, abs=1e-12
        )
    (shot,) = (shot for shot in film.shots if shot.held == "plant")
    words = [[label.words for label in block.labels] for block in film.type_of(shot)]
    assert words[1][0] == "Hitter 1"
    assert words[2][0] == "Hitter 2"
    assert film.panels[0].framing.scale == film.panels[1].framing.scale


def test_two_dates_of_one_hitter_are_told_apart(shown) -> None:
    comparison, _ = another(shown)
    later = replace(comparison, swing=replace(comparison.swing, source="swing_2026-05-08.c3d"))
    film = film_of(shown, beside=(later, shown.findings))
    titles = [film.type_of(film.shots[0])[1 + place].labels[0].words for place in (0, 1)]
    assert titles[1] == "Hitter 1, swing_2026-05-08"
    assert titles[0] != titles[1]


def test_guides_are_switched(shown) -> None:
    def count(asked, moment: str) -> int:
        film = film_of(shown, guides=asked)
        number = next((shot.number for shot in film.shots if shot.held == moment), 0)
        return len(film.guides[0].at(number))

    for moment in ("", "plant", "contact"):
        assert count("none", moment) == 0
        assert 0 < count("usual", moment) <= count("all", moment)
        assert count(("axis",), moment) == 1
    assert count("usual", "plant") < count("all", "plant") < len(GUIDES)  # few at a time, each in its part of the swing


@pytest.mark.usefixtures("can_draw")
@pytest.mark.parametrize("panels", [1, 2])
def test_the_bodies_are_drawn_where_the_panels_say(shown, left_handed, panels) -> None:
    for one in (shown, left_handed):
        film = film_of(one, SIZE, "open side" if panels == 1 else ("open side", "pitcher"), guides="none", **BRIEF)
        (held,) = (shot for shot in film.shots if shot.held == "plant")
        picture = next(p for (p, _), shot in zip(film.pictures(), film.shots, strict=False) if shot == held)
        pixels = np.asarray(picture, dtype=int)
        for panel in film.panels:
            x, y = panel.in_picture(panel.scene.swing["front_ball"][held.number])
            around = pixels[int(y) - 5 : int(y) + 6, int(x) - 3 : int(x) + 4]
            assert around.max(axis=2).min() < 110  # the shoe, darker than any ground
    assert film.panels[0].framing.mirrored


@pytest.mark.parametrize("size", [(1080, 1920), (1080, 1080), (1920, 1080)])
def test_no_guide_is_cut_where_the_film_stands_still(left_handed, shown, size) -> None:
    """The catcher's feet and the pitch's line reach farther than any body."""
    for hitter in (shown, left_handed):
        film = film_of(hitter, size, guides="all")
        for shot in (shot for shot in film.shots if shot.held):
            ends = [guide.reach(shot.number) for guide in film.guides[0].at(shot.number)]
            spots = film.panels[0].framing.project(np.concatenate(ends))
            assert (spots >= 0.0).all()
            assert (spots <= np.array(size)).all()
