"""Findings as plain data, for JSON."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from mocap.capture import Capture
from mocap.comparison import Comparison
from mocap.findings import REACH, Check, Findings, Measure
from mocap.kinematics.inspection import Inspection
from mocap.swing import Moment, Swing


def findings_object(swing: Swing, findings: Findings, comparison: Comparison | None = None) -> dict[str, Any]:
    """One swing's findings.

    Parameters
    ----------
    swing : Swing
    findings : Findings
    comparison : Comparison, optional

    Returns
    -------
    dict
        `hitter`, `recording`, `moments`, `measures`, `checks`, `work_on`, and `differences` where a comparison is
        given. Angles in degrees, lengths in metres or as the unit says; `low` and `high` (of moments `low_s` and
        `high_s`) are the ends of the 95 % interval, `shares` how often each text comes out among swings that could
        equally have been recorded. The sentences (`reason`, `limits`, and those of `work_on`) are in the units that
        the findings were made with.
    """
    hitter = swing.hitter
    found: dict[str, Any] = {
        "hitter": {
            "name": hitter.name,
            "height_m": hitter.height_m,
            "height_sd_m": round(swing.height_sd_m, 4),
            "mass_kg": hitter.mass_kg,
            "bats": hitter.bats,
            "sex": hitter.sex,
            "level": hitter.level,
        },
        "recording": {
            "file": swing.source,
            "frames": swing.n_frames,
            "rate_hz": swing.rate_hz,
            "direction_to_pitcher": swing.heading_method,
            "notes": list(swing.notes),
        },
        "moments": {name: _moment(moment) for name, moment in findings.moments.items()},
        "measures": {name: _measure(measure) for name, measure in findings.measures.items()},
        "checks": [_check(check) for check in findings.checks],
        "work_on": [{**asdict(advice), "cautions": list(advice.cautions)} for advice in findings.work_on],
    }
    if comparison is not None:
        found["differences"] = [
            {"joint": d.joint, "distance_m": d.distance_m, "vector_m": list(d.vector_m), "words": d.words}
            for d in comparison.differences
        ]
    return found


def inspection_object(inspection: Inspection) -> dict[str, Any]:
    """What a recording holds, as plain data.

    Parameters
    ----------
    inspection : Inspection

    Returns
    -------
    dict
        - `file`, `frames`, `rate_hz`, `duration_s`, `first_frame`
        - `measurable`, `verdict`, `limits`
        - `concerns`: `kind` (sides, swap, never_seen, never_moves, jumps, gap, body, plate, rate), `labels`, `text`,
          the worst first; what cleaning does not repair
        - `cleaning`: what it repaired, filled and left, one line each
        - `marker_set` (null where none is complete), `bat`
        - `body` (null where none can be built): `fit_m` and `point_fit_m` (RMS distance of the points from the
          skeleton), `lengths_m` (left, right, standard deviation), `height_m` and `height_sd_m` by the lengths,
          `notes`, `doubts`
        - `points`: `label`, `missing_share`, `longest_gap` [frames], `longest_gap_s`, `mean_residual_m` and
          `worst_residual_m` (null where not stated), `jumps` (`kind` spike or step, `frame`, `last_frame`, `off_m`,
          `speed_m_per_s`), `never_moves`, `held` (first and last frame of each span); and in samples what cleaning
          made of it: `taken_out` (spikes and repeats), `by_spline`, `from_neighbours`, `left_missing`, `longest_left`
          [frames]
        - `swaps`: `labels`, `frame`, `last_frame`, `distance_m`, `crossed_share` (what the paths miss their courses by
          once exchanged back, over what they miss as labelled)
        - `plates`: `type`, `size_m`, `corners_m`, `peak_n`, `unloaded_share`, `rate_hz`
        - `analog`: `channels`, `units`, `rate_hz`
        - `events`: `label`, `context`, `time_s`
        - `subject`, `notes` (what was repaired or doubted while reading)

        Frames count from 0.
    """
    capture = inspection.capture
    return {
        "file": capture.source,
        "frames": capture.n_frames,
        "rate_hz": capture.rate_hz,
        "duration_s": capture.duration_s,
        "first_frame": capture.first_frame,
        "measurable": inspection.measurable,
        "verdict": inspection.verdict,
        "limits": list(inspection.limits),
        "concerns": [asdict(concern) for concern in inspection.concerns],
        "marker_set": inspection.marker_set or None,
        "bat": inspection.bat,
        "cleaning": list(inspection.cleaning),
        "body": asdict(inspection.body) if inspection.body else None,
        "points": [
            asdict(point) | asdict(repairs)
            for point, repairs in zip(inspection.points, inspection.repairs, strict=True)
        ],
        "swaps": [asdict(swap) for swap in inspection.swaps],
        "plates": _plates(inspection),
        "analog": _analog(capture),
        "events": [asdict(event) for event in capture.events],
        "subject": dict(capture.subject),
        "notes": list(capture.notes),
    }


def _analog(capture: Capture) -> dict[str, Any]:
    return {
        "channels": list(capture.analog_labels),
        "units": list(capture.analog_units),
        "rate_hz": capture.analog_rate_hz,
    }


def _plates(inspection: Inspection) -> list[dict[str, Any]]:
    return [
        {
            "type": quality.plate_type,
            "size_m": list(quality.size_m),
            "corners_m": plate.corners.tolist(),
            "peak_n": quality.peak_n,
            "unloaded_share": quality.unloaded_share,
            "rate_hz": quality.rate_hz,
        }
        for quality, plate in zip(inspection.plates, inspection.capture.plates, strict=True)
    ]


def _check(check: Check) -> dict[str, Any]:
    good = [end if isinstance(end, str) or math.isfinite(end) else None for end in check.good]
    return {**asdict(check), "good": good}


def _moment(moment: Moment) -> dict[str, Any]:
    if moment.index is None or moment.time_s is None:
        return {
            "index": None,
            "time_s": None,
            "sd_s": None,
            "low_s": None,
            "high_s": None,
            "method": None,
            "why": moment.why,
        }
    reach = REACH * (moment.sd_s or 0.0)
    return {
        "index": moment.index,
        "time_s": moment.time_s,
        "sd_s": moment.sd_s,
        "low_s": moment.time_s - reach,
        "high_s": moment.time_s + reach,
        "method": moment.method,
    }


def _measure(measure: Measure) -> dict[str, Any]:
    if measure.value is None:
        return {"value": None, "unit": measure.unit, "label": measure.label, "why": measure.why}
    found = {"value": measure.value, "sd": measure.sd, "unit": measure.unit, "label": measure.label}
    if isinstance(measure.value, str):
        return {**found, "shares": dict(measure.shares)}
    return {**found, "low": measure.low, "high": measure.high}
