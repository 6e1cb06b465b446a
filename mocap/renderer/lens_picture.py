"""A picture of how a lens fits its board: every corner where it was found, its residual as an arrow, drawn enlarged."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from mocap.capture import FloatArray
from mocap.output import replacing
from mocap.renderer.pen import Pen
from mocap.renderer.style import (
    BLUE,
    HAIRLINE,
    INK,
    LEAST_ON_PHONE_WIDE,
    MUTED,
    PAPER,
    PHONE_WIDTH,
    RED,
    WHITE,
    Colour,
)
from mocap.renderer.text import LEADING, Label, draw_labels, set_lines

if TYPE_CHECKING:
    from PIL.Image import Image

    from mocap.importer.calibrate_lens import BoardFit, LensCalibration

#: Longer side of the camera's picture as drawn, and the margin round it. [px]
LONGER_SIDE, MARGIN = 1400, 40
#: Type size: as of any wide picture of that width. [px]
TYPE = math.ceil(LEAST_ON_PHONE_WIDE / PHONE_WIDTH * (LONGER_SIDE + 2 * MARGIN))
#: The median residual is drawn this long. [px]
ARROW_PX = 14.0


def draw_lens_picture(calibration: LensCalibration) -> Image:
    """Draw the corners of all pictures, with their residuals.

    Parameters
    ----------
    calibration : LensCalibration

    Returns
    -------
    Image
        Corners used in blue, those of pictures that were left out in red with a cross; fields of the camera's picture
        that no corner covered are grey.
    """
    from PIL import Image as images

    width, height = calibration.lens.size
    scale = LONGER_SIDE / max(width, height)
    shown = (round(scale * width), round(scale * height))
    times = _enlargement(calibration.fits, scale)
    lines = _words(calibration, times, shown[0])
    below = round(LEADING * TYPE * len(lines))
    picture = images.new("RGB", (shown[0] + 2 * MARGIN, shown[1] + 3 * MARGIN + below), PAPER)
    pen = Pen(picture)
    _draw_fields(pen, calibration, shown)
    for fit in calibration.fits:
        _draw_fit(pen, fit, scale, times, BLUE)
    for fit in calibration.left_out:
        _draw_fit(pen, fit, scale, times, RED)
        for pixel in _placed(fit.pixels, scale):
            for way in (np.array([4.0, 4.0]), np.array([-4.0, 4.0])):
                pen.line([pixel - way, pixel + way], 1.5, RED)
    top = shown[1] + 2 * MARGIN
    draw_labels(
        picture,
        [
            Label(line.words, line.left, top + LEADING * TYPE * row, TYPE, line.weight, line.colour)
            for row, line in enumerate(lines)
        ],
    )
    return picture


def write_lens_picture(calibration: LensCalibration, path: str | Path) -> Path:
    """Write that picture as PNG.

    Parameters
    ----------
    calibration : LensCalibration
    path : str or Path
        An older file there is replaced.

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    picture = draw_lens_picture(calibration)
    with replacing(target := Path(path)) as temporary:
        picture.save(temporary, format="PNG")
    return target


def _enlargement(fits: tuple[BoardFit, ...], scale: float) -> float:
    """By how much residuals are enlarged: 1, 2 or 5 times a power of ten. [-]"""
    residuals = np.concatenate([np.linalg.norm(fit.residuals, axis=1) for fit in fits])
    wanted = ARROW_PX / (scale * max(float(np.median(residuals)), 1e-6))
    power = 10.0 ** np.floor(np.log10(wanted))
    return float(power * max(step for step in (1, 2, 5) if step * power <= wanted * (1 + 1e-9)))


def _placed(pixels: FloatArray, scale: float) -> FloatArray:
    """Pixels of the camera as pixels of the drawing."""
    placed: FloatArray = scale * (pixels + 0.5) + MARGIN
    return placed


def _draw_fields(pen: Pen, calibration: LensCalibration, shown: tuple[int, int]) -> None:
    from PIL import ImageDraw

    draw = ImageDraw.Draw(pen.picture)
    down, across = calibration.covered.shape
    for row in range(down):
        for column in range(across):
            corner = [MARGIN + column * shown[0] / across, MARGIN + row * shown[1] / down]
            far = [MARGIN + (column + 1) * shown[0] / across - 1, MARGIN + (row + 1) * shown[1] / down - 1]
            fill = WHITE if calibration.covered[row, column] else (0xE2, 0xE1, 0xDC)
            draw.rectangle((*corner, *far), fill=fill, outline=PAPER)
    draw.rectangle((MARGIN, MARGIN, MARGIN + shown[0] - 1, MARGIN + shown[1] - 1), outline=HAIRLINE)


def _draw_fit(pen: Pen, fit: BoardFit, scale: float, times: float, colour: Colour) -> None:
    starts = _placed(fit.pixels, scale)
    for start, residual in zip(starts, scale * times * fit.residuals, strict=True):
        pen.disc(start, 2.0, colour)
        length = float(np.linalg.norm(residual))
        if length < 1.0:
            continue
        end, along = start + residual, residual / length
        across = np.array([-along[1], along[0]])
        head = min(6.0, 0.5 * length)
        pen.line([start, end], 1.5, colour)
        pen.line([end - head * along + 0.5 * head * across, end, end - head * along - 0.5 * head * across], 1.5, colour)


def _words(calibration: LensCalibration, times: float, width: int) -> list[Label]:
    """What stands under the drawing, line by line; their heights are set by the caller."""
    (fx, fy), (cx, cy) = np.diag(calibration.lens.matrix)[:2], calibration.lens.matrix[:2, 2]
    (sfx, sfy), (scx, scy) = calibration.sd_focal_px, calibration.sd_principal_px
    sentences = [
        (
            f"{len(calibration.fits)} pictures, corners fit to {calibration.rms_px:.2f} px; arrows are residuals,"
            f" {times:g} times as long",
            INK,
        ),
        (f"Focal length {fx:.1f} ± {sfx:.1f} and {fy:.1f} ± {sfy:.1f} px", INK),
        (f"Principal point {cx:.1f} ± {scx:.1f}, {cy:.1f} ± {scy:.1f} px", INK),
        (f"White: where the board was seen, {100 * calibration.coverage:.0f} % of the picture", MUTED),
    ]
    if calibration.left_out:
        names = ", ".join(fit.name for fit in calibration.left_out)
        sentences.append((f"Red, crossed: left out ({names})", RED))
    return [
        label for words, colour in sentences for label in set_lines(words, (MARGIN, 0.0), width, TYPE, colour=colour)
    ]
