"""A recording's body with all that a calibration trial adds: functional centres, and what is seen in it alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from mocap.capture import Capture
from mocap.errors import InputError
from mocap.kinematics.bat_points import ENDS
from mocap.kinematics.functional import JOINTS, CentreSearch, NotMovedError, search_centres
from mocap.kinematics.joint_centres import Body, body_from
from mocap.kinematics.marker_sets import listed, spoken
from mocap.swing import BodyModel

#: Regressions of hip and shoulder centres err by 3 cm at most (Harrington 2007); a functional centre farther from them
#: than this is none. [m] This project's default.
FARTHEST_M = 0.06


def calibrated_body(capture: Capture, model: BodyModel | None = None, calibration: Capture | None = None) -> Body:
    """Joint centres of a recording, from its own points and from a calibration trial.

    Parameters
    ----------
    capture : Capture
    model : BodyModel, optional
        Which hip regression, and the coach's own marker set where there is one.
    calibration : Capture, optional
        A trial of the same hitter with the same markers, for any of three uses: hips and shoulders circle in it, so
        that their centres are found from the movement; it shows markers that the recording lacks, such as the medial
        ones; it shows the bat's knob and barrel with the markers on its handle.

    Returns
    -------
    Body
        What came of the calibration is in its notes.

    Raises
    ------
    InputError
        As `body_from`; the calibration trial shows neither a body nor a bat, or does not fit the recording.
    """
    if calibration is None:
        return body_from(capture, model)
    search, no_body = CentreSearch({}, {}), None
    try:
        shown = body_from(calibration, model)
        search = search_centres(shown)
    except InputError as error:
        no_body = error
    else:
        if shown.sides:
            raise InputError(f"{calibration.source}: {shown.sides[0]}")
        search = _believable(search, shown)
    functional = {name: centre.local for name, centre in search.found.items()}
    body = body_from(capture, model, functional, calibration)
    if no_body is None:
        notes = [*_notes(search, calibration.source, bool(body.from_static))]
    elif not body.from_static:
        raise no_body
    else:  # no more than the bat is asked of a trial of the bat alone
        notes = [f"{no_body}; no functional centre is taken from it"] if {*body.from_static} - {*ENDS} else []
    return replace(body, notes=(*body.notes, *notes))


def _believable(search: CentreSearch, body: Body) -> CentreSearch:
    """The search without centres that lie where no joint can."""
    found, refused = dict(search.found), dict(search.refused)
    for name, centre in search.found.items():
        segment = "pelvis" if name.endswith("hip") else "thorax"
        axes, origin = body.axes[segment], body.origins[segment]
        usual = np.nanmedian(np.swapaxes(axes, 1, 2) @ (body.centres[name] - origin)[..., None], axis=0)[:, 0]
        off = float(np.linalg.norm(centre.local - usual))
        if off > FARTHEST_M:
            del found[name]
            refused[name] = InputError(
                f"the {spoken(name)}'s functional centre lies {100 * off:.0f} cm from where its markers place it, so it"
                " is not used: the skin moved, or another joint did"
            )
    return CentreSearch(found, refused)


def _notes(search: CentreSearch, source: str, static_used: bool) -> Iterator[str]:
    """What the movement in a calibration trial told, and what it did not."""
    for name, centre in search.found.items():
        yield f"{spoken(name)}: functional centre, ± {max(1000 * centre.sd_m, 1):.0f} mm by its fit, from {source}"
    still = [joint for joint, why in search.refused.items() if isinstance(why, NotMovedError)]
    for joint, why in search.refused.items():
        if joint not in still:
            yield f"{source}: {why}; placed as without it"
    if len(still) < len(JOINTS):
        if still:
            yield f"{source}: no movement about {listed(map(spoken, still))}, placed as without it"
    elif not static_used:
        yield (
            f"{source} adds nothing: hips and shoulders hardly move in it, and nothing is carried over from it that the"
            " recording lacks; every centre is placed as without it"
        )
