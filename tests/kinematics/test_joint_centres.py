"""What is known about the body besides its joints: here, which way is up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from mocap.capture import Capture
from mocap.kinematics.joint_centres import body_from
from mocap.reference.posed import PosedSwing


@pytest.mark.parametrize(("stated", "contradicts"), [("", False), ("+z", False), ("+y", True), ("-z", True)])
def test_the_body_tells_the_vertical_and_a_file_that_says_otherwise_is_noted(
    make_capture: Callable[..., Capture], posed: PosedSwing, stated: str, contradicts: bool
) -> None:
    capture = replace(make_capture(posed.points, 240.0), vertical=stated)
    body = body_from(capture)
    assert body.up.tolist() == [0.0, 0.0, 1.0]
    assert (f"the file states that {stated} points up, the body stands along +z" in body.notes) == contradicts
