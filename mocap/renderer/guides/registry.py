"""The guides by name: who builds each, in which moments and part of the swing it belongs, and from where it is seen."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import OptionError
from mocap.renderer.guides.axes import BodyAxis, TurnAxis
from mocap.renderer.guides.canvas import Guide, Numbers
from mocap.renderer.guides.landing import BackKneeMark, FrontSideLine, KnobRay, SeparationLine, WeightBar
from mocap.renderer.guides.turn import (
    BarrelPath,
    ContactDepth,
    HandsPath,
    HeadCircle,
    HittingZone,
    PitchLine,
    contact_spot,
)
from mocap.renderer.lens import Lens
from mocap.renderer.view import View
from mocap.swing import BAT_POINTS, MOMENTS, Swing

if TYPE_CHECKING:
    from mocap.renderer.scene import Scene

#: What `chosen` takes for the whole swing instead of one moment.
WHOLE_SWING = "swing"

_HANDS = ("front_hand", "back_hand")
_WORDS = ("usual", "all", "none")
_ACROSS = 0.95  # the way to the pitcher runs across a picture where this much of it does: this project's default
_DOWNWARD = 0.8  # a picture looks from above where it looks down this steeply, as a sine: this project's default


def _anywhere(_axes: FloatArray) -> bool:
    return True


def _from_above(axes: FloatArray) -> bool:
    return bool(axes[2, 2] > _DOWNWARD)


def _from_beside(axes: FloatArray) -> bool:
    return not _from_above(axes)


def _from_the_side(axes: FloatArray) -> bool:
    """From a side on which the way to the pitcher runs across the picture, so that the feet stand apart."""
    return bool(abs(axes[0, 0]) > _ACROSS) and _from_beside(axes)


@dataclass(frozen=True)
class GuideEntry:
    """One guide of the registry; called with a scene it gives the guide, or None where the swing cannot show it.

    Attributes
    ----------
    build : function of a Scene
    usual : tuple of str
        Moments whose pictures show it without being asked.
    span : tuple of 2 str
        From which to which moment a film shows it; empty: from the first, or to the last frame.
    seen_from, usual_from : function of a view's axes, shape (3, 3)
        Whether it can be read from there, and whether it is shown there without being asked; rows of the axes point to
        the picture's right, upward and toward the viewer.
    """

    build: Callable[[Scene], Guide | None]
    usual: tuple[str, ...]
    span: tuple[str, str]
    seen_from: Callable[[FloatArray], bool] = _anywhere
    usual_from: Callable[[FloatArray], bool] = _anywhere

    def __call__(self, scene: Scene) -> Guide | None:
        """The guide to a scene's swing."""
        return self.build(scene)


def _numbers(scene: Scene) -> Numbers:
    return Numbers(scene.findings, scene.units)


def _weight(scene: Scene) -> Guide | None:
    return WeightBar(scene.comparison, scene.findings, numbers=_numbers(scene))


def _depth(scene: Scene) -> Guide | None:
    """Where the measure is known: a contact taken from the usual depth would show only what was put in."""
    numbers = _numbers(scene)
    spot = contact_spot(scene.swing, scene.zone, numbers)
    known = numbers.value("contact_depth") is not None and bool(np.isfinite(spot).all())
    return ContactDepth(scene.swing, spot, numbers) if known else None


def _knob(scene: Scene) -> Guide | None:
    return KnobRay(scene.swing, _numbers(scene)) if scene.swing.has(*BAT_POINTS) else None


def _back_knee(scene: Scene) -> Guide | None:
    began = scene.swing.index("lift") is not None or scene.swing.index("stance") is not None
    return BackKneeMark(scene.swing) if began and scene.swing.has("back_knee") else None


def _turn_axis(scene: Scene) -> Guide | None:
    """The trunk's; the pelvis' where only that was recorded."""
    segment = next((name for name in ("thorax", "pelvis") if name in scene.swing.frames), None)
    return None if segment is None else TurnAxis(scene.swing, segment, _numbers(scene))


def _axis(scene: Scene) -> Guide | None:
    return BodyAxis(scene.comparison, scene.swing.index("plant"), _numbers(scene))


def _front_side(scene: Scene) -> Guide | None:
    seen = scene.swing.has("front_ankle", "front_hip", "front_shoulder")
    return FrontSideLine(scene.swing, _numbers(scene)) if seen else None


def _separation(scene: Scene) -> Guide | None:
    return SeparationLine(scene.comparison, _numbers(scene)) if scene.swing.has("front_ankle", *_HANDS) else None


def _barrel(scene: Scene) -> Guide | None:
    return BarrelPath(scene.swing, _numbers(scene)) if scene.swing.has(*BAT_POINTS) else None


def _pitch(scene: Scene) -> Guide | None:
    spot = contact_spot(scene.swing, scene.zone, _numbers(scene))
    return PitchLine(scene.swing, spot, _numbers(scene)) if np.isfinite(spot).all() else None


def _zone(scene: Scene) -> Guide | None:
    return None if scene.zone is None else HittingZone(scene.zone, _numbers(scene))


def _hands(scene: Scene) -> Guide | None:
    return HandsPath(scene.comparison, _numbers(scene)) if scene.swing.has(*_HANDS) else None


def _head(scene: Scene) -> Guide | None:
    seen = scene.swing.index("plant") is not None and scene.swing.has("head")
    return HeadCircle(scene.swing, _numbers(scene)) if seen else None


#: Every guide, in the order in which they are drawn: what lies on the floor first, lines over the bodies last.
GUIDES: Mapping[str, GuideEntry] = MappingProxyType(
    {
        "weight": GuideEntry(_weight, ("plant",), ("stance", "plant"), seen_from=_from_the_side),
        "depth": GuideEntry(_depth, ("contact",), ("contact", "extension"), usual_from=_from_above),
        "knob": GuideEntry(_knob, (), ("lift", "plant")),
        "back knee": GuideEntry(_back_knee, (), ("lift", "plant")),
        "turn axis": GuideEntry(_turn_axis, (), ("plant", "contact")),
        "axis": GuideEntry(_axis, MOMENTS, ("", ""), usual_from=_from_beside),
        "front side": GuideEntry(_front_side, (), ("plant", "contact")),
        "separation": GuideEntry(_separation, ("plant",), ("stance", "plant")),
        "barrel": GuideEntry(_barrel, ("contact", "extension"), ("level", "extension"), usual_from=_from_above),
        "pitch": GuideEntry(_pitch, (), ("level", "extension")),
        "zone": GuideEntry(_zone, ("contact", "extension"), ("", "finish")),
        "hands": GuideEntry(_hands, ("contact",), ("plant", "contact")),
        "head": GuideEntry(_head, (), ("plant", "contact")),
    }
)


def names_of(asked: str | Sequence[str]) -> tuple[str, ...]:
    """The names of guides asked for, in the order in which they are drawn.

    Parameters
    ----------
    asked : str or sequence of str
        "usual" or "all" (every name), "none", names with commas between, or a sequence of names; a hyphen counts as
        the space in a name.

    Raises
    ------
    OptionError
        A name is not known.
    """
    if asked in ("usual", "all"):
        return tuple(GUIDES)
    if asked == "none":
        return ()
    given = asked.split(",") if isinstance(asked, str) else asked
    names = {name.strip().replace("-", " "): name.strip() for name in given}
    for plain, name in names.items():
        if plain not in GUIDES:
            known = ", ".join((*_WORDS, *GUIDES))
            raise OptionError(f"guide {name!r} is not known; known are {known}")
    return tuple(name for name in GUIDES if name in names)


def chosen(asked: str | Sequence[str], scene: Scene, when: str, view: View | Lens) -> list[Guide]:
    """The guides of a picture or a film, in the order in which they are drawn.

    Parameters
    ----------
    asked : str or sequence of str
        See `names_of`. "usual" gives the few that belong to the moment and the view, "all" those of this part of the
        swing that can be read from there; what is named is given at any moment and from any side.
    scene : Scene
    when : str
        One of `mocap.swing.MOMENTS`, or `WHOLE_SWING`, for which "usual" gives those of any moment; `shown_at` says
        in which frames each belongs.
    view : View or Lens

    Raises
    ------
    OptionError
        A name or the moment is not known.
    """
    if when != WHOLE_SWING and when not in MOMENTS:
        raise OptionError(f"moment {when!r} is not known; known are {', '.join(MOMENTS)} and {WHOLE_SWING}")
    axes = view.axes if isinstance(view, Lens) else np.stack([view.right, view.up, -view.away])
    guides = []
    for name in names_of(asked):
        entry = GUIDES[name]
        if asked == "usual" and not _is_usual(entry, when, axes):
            continue
        if asked == "all" and not (entry.seen_from(axes) and (when == WHOLE_SWING or _spans(entry, when))):
            continue
        guide = entry(scene)
        if guide is not None:
            guides.append(guide)
    return guides


def _is_usual(entry: GuideEntry, when: str, axes: FloatArray) -> bool:
    belongs = bool(entry.usual) if when == WHOLE_SWING else when in entry.usual
    return belongs and entry.seen_from(axes) and entry.usual_from(axes)


def _spans(entry: GuideEntry, moment: str) -> bool:
    """Whether a moment lies in the part of the swing in which a film shows the guide."""
    start, end = (MOMENTS.index(name) if name else place for name, place in zip(entry.span, (0, 99), strict=True))
    return start <= MOMENTS.index(moment) <= end


def shown_at(name: str, swing: Swing, frame: int) -> bool:
    """Whether a film that was not asked for this guide by name shows it in a frame."""
    start, end = (swing.index(moment) if moment else None for moment in GUIDES[name].span)
    return (start is None or frame >= start) and (end is None or frame <= end)
