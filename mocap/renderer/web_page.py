"""One self-contained page for a phone: pictures, video, findings; it needs no network and sends nothing."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from mocap.comparison import Comparison
from mocap.display import MOMENT_WORDS, Units, cautions_once, format_height, format_measure, format_time
from mocap.findings import Findings
from mocap.renderer.template import Verbatim, write_filled

KINDS = {".png": "image/png", ".mp4": "video/mp4"}
#: How many of the greatest differences the page lists.
DIFFERENCES = 5


def write_page(
    comparison: Comparison,
    findings: Findings,
    path: str | Path,
    *,
    pictures: Mapping[str, Path] | None = None,
    units: Units = "metric",
) -> Path:
    """Write a page that holds everything in one file.

    Parameters
    ----------
    comparison : Comparison
    findings : Findings
    path : str or Path
        Where the page goes.
    pictures : mapping of str to Path, optional
        `still`, `sheet` (PNG) and `film` (MP4) to put into it, and `portrait`, the still for narrow screens.
    units : {"metric", "imperial"}

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        The page cannot be written.
    """
    embedded = {name: _data_url(file) for name, file in (pictures or {}).items()}
    shown = {name: embedded.get(name, "") for name in ("still", "portrait", "sheet", "film")}
    return write_filled(path, "page.html.j2", {**_words(comparison, findings, units), "pictures": shown})


def _data_url(file: Path) -> str:
    content = base64.b64encode(file.read_bytes()).decode("ascii")
    return Verbatim(f"data:{KINDS[file.suffix]};base64,{content}")


def _work_on(findings: Findings) -> dict[str, Any]:
    """What to work on, in order, each caution once."""
    own, shared = cautions_once(findings.work_on)
    steps = [
        {
            "what": findings.measures[advice.measure].label,
            "cue": advice.cue,
            "drill": advice.drill,
            "set_up": advice.set_up,
            "look_for": advice.look_for,
            "cautions": cautions,
        }
        for advice, cautions in zip(findings.work_on, own, strict=True)
    ]
    return {"work_on": steps, "cautions": shared}


def _words(comparison: Comparison, findings: Findings, units: Units) -> dict[str, Any]:
    swing = comparison.swing
    checks = {check.measure: check for check in findings.checks}
    shown = {name: m for name, m in findings.measures.items() if m.value is not None}
    values = {name: format_measure(m, swing.height_m, units) for name, m in shown.items()}
    standing_out = [
        {"reason": c.reason, "verdict": c.verdict}
        for verdict in ("off", "near")
        for c in findings.checks
        if c.verdict == verdict
    ]
    chapters = [
        {
            "name": family.capitalize(),
            "rows": [
                {
                    "label": m.label,
                    "value": values[m.name],
                    "verdict": checks[m.name].verdict if m.name in checks else "",
                    "limits": checks[m.name].limits if m.name in checks else "",
                }
                for m in shown.values()
                if m.family == family
            ],
        }
        for family in dict.fromkeys(m.family for m in shown.values())
    ]
    reasons: dict[str, list[str]] = {}
    for m in findings.measures.values():
        if m.why:
            reasons.setdefault(m.why, []).append(m.label)
    hitter = swing.hitter
    mass = f", {hitter.mass_kg:g} kg" if hitter.mass_kg else ""
    return {
        "title": hitter.name or Path(swing.source).stem,
        "subtitle": f"{format_height(swing.height_m, units=units)}{mass}, bats {hitter.bats}; {swing.source}",
        "standing_out": standing_out,
        "undecided": [c.reason for c in findings.checks if c.verdict == "too close to call"],
        **_work_on(findings),
        "differences": [d.words for d in comparison.differences[:DIFFERENCES]],
        "chapters": chapters,
        "moments": [
            {
                "name": MOMENT_WORDS[m.name],
                "time": "not found" if m.time_s is None or m.sd_s is None else format_time(m.time_s, m.sd_s),
                "method": m.method or m.why,
            }
            for m in findings.moments.values()
            # In a held position there is nothing to find but the landing.
            if m.time_s is not None or not swing.setup.held
        ],
        "missing": [f"{why}: {', '.join(labels)}" for why, labels in reasons.items()],
        "notes": list(swing.notes),
    }
