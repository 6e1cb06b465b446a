"""Findings and inspections as tables in the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from mocap.display import MOMENT_WORDS, Units, format_height, format_length, format_measure
from mocap.findings import Findings
from mocap.kinematics.inspection import Inspection
from mocap.swing import Swing

#: How many of the worst points an inspection lists.
WORST = 12


def print_findings(swing: Swing, findings: Findings, units: Units) -> None:
    """Print moments, measures and checks of one swing."""
    console = Console()
    hitter = swing.hitter
    who = hitter.name or swing.source
    mass = f", {hitter.mass_kg:g} kg" if hitter.mass_kg else ""
    console.print(
        f"{who}: {format_height(swing.height_m, units=units)}{mass}, bats {hitter.bats};"
        f" direction to the pitcher {swing.heading_method}",
        highlight=False,
    )
    for note in swing.notes:
        console.print(f"note: {note}", style="dim", highlight=False)
    moments = _table("Moment", "Frame", "Time", "How")
    for moment in findings.moments.values():
        if moment.index is None or moment.time_s is None or moment.sd_s is None:
            moments.add_row(MOMENT_WORDS[moment.name], "-", "-", f"not found: {moment.why}")
        else:
            time = f"{moment.time_s:.3f} ± {moment.sd_s:.3f} s"
            moments.add_row(MOMENT_WORDS[moment.name], str(moment.index), time, moment.method)
    console.print(moments)
    verdicts = {check.measure: check for check in findings.checks}
    for family in dict.fromkeys(measure.family for measure in findings.measures.values()):
        rows = [m for m in findings.measures.values() if m.family == family and m.value is not None]
        if not rows:
            continue
        table = _table(family.capitalize(), "Value", "Verdict", "Limits")
        for measure in rows:
            check = verdicts.get(measure.name)
            verdict, limits = (check.verdict, check.limits) if check else ("", "")
            table.add_row(measure.label, format_measure(measure, swing.height_m, units, brief=True), verdict, limits)
        console.print(table)
    reasons: dict[str, list[str]] = {}
    for measure in findings.measures.values():
        if measure.why:
            reasons.setdefault(measure.why, []).append(measure.label)
    for why, labels in reasons.items():
        console.print(f"not measurable, because {why}: {', '.join(labels)}", style="dim", highlight=False)


def print_inspection(inspection: Inspection) -> None:
    """Print what a recording holds."""
    console = Console()
    capture = inspection.capture
    console.print(f"{capture.source}: {inspection.verdict}", highlight=False)
    facts = _table("", "")
    facts.show_header = False
    facts.add_row("Frames", f"{capture.n_frames} at {capture.rate_hz:g} Hz ({capture.duration_s:.2f} s)")
    bat = " and bat" if inspection.bat else ", no bat"
    facts.add_row("Points", f"{len(capture.labels)} ({inspection.marker_set or 'no known set complete'}{bat})")
    if capture.analog_rate_hz:
        facts.add_row("Analog", f"{len(capture.analog_labels)} channels at {capture.analog_rate_hz:g} Hz")
    for number, plate in enumerate(capture.plates, start=1):
        load = plate.force[:, 2].max()
        facts.add_row(f"Force plate {number}", f"type {plate.plate_type}, greatest vertical force {load:.0f} N")
    if capture.events:
        facts.add_row("Events", ", ".join(f"{e.context} {e.label} {e.time_s:.2f} s".strip() for e in capture.events))
    known = [f"{key.removesuffix('_m').removesuffix('_kg')} {value}" for key, value in capture.subject.items()]
    if known:
        facts.add_row("Subject", ", ".join(known[:3] if len(known) > 6 else known))
    for note in capture.notes:
        facts.add_row("Note", note)
    console.print(facts)
    worst = sorted(inspection.points, key=lambda point: (-point.missing_share, point.label))
    shown = [point for point in worst if point.missing_share > 0][:WORST]
    if not shown:
        console.print("Every point is seen in every frame.")
        return
    points = _table("Point", "Missing", "Longest gap", "Mean residual")
    for point in shown:
        residual = format_length(point.mean_residual_m) if point.mean_residual_m is not None else "not stated"
        gap = f"{point.longest_gap} frames ({point.longest_gap / capture.rate_hz:.2f} s)"
        points.add_row(point.label, f"{100 * point.missing_share:.1f} %", gap, residual)
    console.print(points)


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, overflow="fold")
    return table
