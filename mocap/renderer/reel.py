"""The reel: several hitters one after another in one film, each after a card with his name, for a player meeting."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence, Sized
from contextlib import closing
from pathlib import Path

from mocap.comparison import Comparison
from mocap.display import Units
from mocap.errors import OptionError
from mocap.findings import Findings
from mocap.output import replacing
from mocap.renderer import tempo
from mocap.renderer.captions import build
from mocap.renderer.encoder import Encoder, fitting
from mocap.renderer.film import Film, FilmSetup, views_of
from mocap.renderer.tempo import Tempo
from mocap.renderer.title_card import NAME_S, TITLE_S, Card


def draw_reel(
    shown: Iterable[tuple[Comparison, Findings]],
    path: str | Path,
    *,
    title: str | None = None,
    size: tuple[int, int] = (1920, 1080),
    fps: int = 30,
    units: Units = "metric",
    view: str | Sequence[str] = "open side",
    guides: str | Sequence[str] = "usual",
    speed: float | None = None,
    slow: float = tempo.SLOW,
    hold_s: float = tempo.HOLD_S,
    moments: Sequence[str] = tempo.HELD_MOMENTS,
    progress: Callable[[int, int], None] | None = None,
) -> Path:
    """Film several swings one after another; memory holds one of them at a time.

    Parameters
    ----------
    shown : iterable of (Comparison, Findings)
        Taken one by one, so that a generator may measure each when its turn comes.
    path : str or Path
        As of `mocap.renderer.film.draw_film`, like all that follows.
    title, size, fps, units, view, guides, speed, slow, hold_s, moments
        As of `draw_film`.
    progress : callable or None
        Called with video frames written and their number in all, which is an estimate until the last swing has begun.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    OptionError
        There is no swing, or as of `draw_film`.
    RenderError, OutputError
        As of `draw_film`.
    """
    target = Path(path)
    fitted, rate = fitting(target, size, fps)
    wanted = FilmSetup(fitted, rate, units, views_of(view), guides, Tempo(speed, slow, hold_s, tuple(moments)))
    count = len(shown) if isinstance(shown, Sized) else 0
    place = written = 0
    with replacing(target) as temporary, Encoder(temporary, fitted, rate) as encoder:
        if title:
            written = round(TITLE_S * rate)
            encoder.write(Card(fitted, title).draw().tobytes(), written)
        for place, pair in enumerate(shown, start=1):
            start = written
            for done, length in _write_one(pair, wanted, encoder):
                written = start + done
                if progress is not None:
                    progress(written, start + length * (1 + max(count - place, 0)))
        if not place:
            raise OptionError(f"{target.name}: there is no swing to show; give at least one")
    return target


def _write_one(pair: tuple[Comparison, Findings], wanted: FilmSetup, encoder: Encoder) -> Iterator[tuple[int, int]]:
    """Card and film of one hitter, both let go at the end; gives video frames written and their number in all."""
    film = Film(pair, wanted)
    done = round(NAME_S * wanted.fps)
    total = done + tempo.frame_count(film.shots)
    encoder.write(_name_card(wanted.size, pair[1], wanted.units).draw().tobytes(), done)
    with closing(film.pictures()) as pictures:
        for picture, times in pictures:
            encoder.write(picture.tobytes(), times)
            done += times
            yield done, total


def _name_card(size: tuple[int, int], findings: Findings, units: Units) -> Card:
    """The hitter's name, and below it what is known of him."""
    name, about = findings.hitter.name or "Hitter", build(findings, units)
    return Card(size, f"{name}\n{about}")
