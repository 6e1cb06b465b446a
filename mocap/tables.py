"""Findings and inspections as tables in the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from mocap.display import MOMENT_WORDS, Units, cautions_once, format_height, format_measure, format_time
from mocap.findings import Findings, Verdict
from mocap.kinematics.body_report import BodyReport
from mocap.kinematics.inspection import Inspection, PointRepairs
from mocap.kinematics.point_quality import PointQuality
from mocap.swing import Swing

#: Verdicts in the order in which a coach wants to hear them; what is good and what is missing is only counted.
TOLD: tuple[Verdict, ...] = ("off", "near", "too close to call")
#: How many concerns, and how many of the worst points, an inspection lists.
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
            time = format_time(moment.time_s, moment.sd_s)
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
    _print_checks(console, findings)
    reasons: dict[str, list[str]] = {}
    for measure in findings.measures.values():
        if measure.why:
            reasons.setdefault(measure.why, []).append(measure.label)
    for why, labels in reasons.items():
        console.print(f"not measurable, because {why}: {', '.join(labels)}", style="dim", highlight=False)
    _print_work_on(console, findings)


def _print_checks(console: Console, findings: Findings) -> None:
    """What is not good, a sentence each, the worst first."""
    if not findings.checks:
        return
    told = [check for verdict in TOLD for check in findings.checks if check.verdict == verdict]
    if told:
        table = _table("Verdict", "In words")
        for check in told:
            table.add_row(check.verdict, Text(check.reason))
        console.print(table)
    good = sum(check.verdict == "good" for check in findings.checks)
    missing = sum(check.verdict == "not measurable" for check in findings.checks)
    rest = f", {missing} not measurable" if missing else ""
    console.print(f"Of {len(findings.checks)} checks {good} are good{rest}.", highlight=False)


def _print_work_on(console: Console, findings: Findings) -> None:
    """What to work on, one at a time, and the cautions."""
    if not findings.work_on:
        return
    console.print("Work on", style="bold")
    if len(findings.work_on) > 1:
        console.print(
            Padding(Text("One at a time; go on when the next recording shows that it is mended."), (0, 0, 0, 2))
        )
    own, shared = cautions_once(findings.work_on)
    for number, (advice, cautions) in enumerate(zip(findings.work_on, own, strict=True), start=1):
        lines = [
            f"{'First' if number == 1 else 'Then'}: {findings.measures[advice.measure].label}. {advice.cue}",
            f"Drill ({advice.drill}): {advice.set_up}",
            f"In the next recording: {advice.look_for}",
            *(f"Careful: {caution}" for caution in cautions),
        ]
        console.print(Padding(Text(lines[0], style="bold"), (0, 0, 0, 2)))
        for line in lines[1:]:
            console.print(Padding(Text(line), (0, 0, 0, 4)))
    console.print(Padding(Text("Always"), (0, 0, 0, 2)))
    for caution in shared:
        console.print(Padding(Text(caution), (0, 0, 0, 4)))


def print_inspection(inspection: Inspection) -> None:
    """Print what a recording holds: the verdict, what is worth a look, the facts, and the points, worst first."""
    console = Console()
    console.print(f"{inspection.capture.source}: {inspection.verdict}", highlight=False, markup=False)
    if inspection.concerns:
        console.print("Worth a look", style="bold")
        for concern in inspection.concerns[:WORST]:
            console.print(Padding(Text(concern.text), (0, 0, 0, 2)))
        if len(inspection.concerns) > WORST:
            console.print(f"  and {len(inspection.concerns) - WORST} more, all in --json", style="dim", highlight=False)
    if inspection.cleaning:
        console.print("Cleaned before measuring", style="bold")
        for note in inspection.cleaning:
            console.print(Padding(Text(note), (0, 0, 0, 2)))
    console.print(_facts(inspection))
    _print_points(console, inspection)


def _facts(inspection: Inspection) -> Table:
    """What the recording consists of."""
    capture = inspection.capture
    facts = _table("", "")
    facts.show_header = False
    facts.add_row("Frames", f"{capture.n_frames} at {capture.rate_hz:g} Hz ({capture.duration_s:.2f} s)")
    bat = " and bat" if inspection.bat else ", no bat"
    facts.add_row("Points", f"{len(capture.labels)} ({inspection.marker_set or 'no known set complete'}{bat})")
    if capture.analog_rate_hz:
        facts.add_row("Analog", f"{len(capture.analog_labels)} channels at {capture.analog_rate_hz:g} Hz")
    for number, plate in enumerate(inspection.plates, start=1):
        size = " by ".join(f"{100 * edge:.0f}" for edge in plate.size_m)
        facts.add_row(
            f"Force plate {number}",
            f"type {plate.plate_type}, {size} cm, greatest vertical force {plate.peak_n:.0f} N,"
            f" unloaded {100 * plate.unloaded_share:.0f} % of the time",
        )
    if capture.events:
        facts.add_row(
            "Events", Text(", ".join(f"{e.context} {e.label} {e.time_s:.2f} s".strip() for e in capture.events))
        )
    known = [_known(key, value) for key, value in capture.subject.items() if key in ("name", "height_m", "mass_kg")]
    more = len(capture.subject) - len(known)
    if known or more:
        facts.add_row(
            "Subject", Text(", ".join([*known, *([f"{more} more value{'s' if more > 1 else ''}"] if more else [])]))
        )
    for note in capture.notes:
        facts.add_row("Note", Text(note))
    if inspection.body:
        _add_body(facts, inspection.body)
    return facts


def _add_body(facts: Table, body: BodyReport) -> None:
    """How well one skeleton of constant lengths fits, and its lengths."""
    worst = ", ".join(f"{_in_words(name)} {1000 * fit:.1f}" for name, fit in body.worst)
    facts.add_row(
        "Skeleton", f"fits {len(body.point_fit_m)} points to {1000 * body.fit_m:.1f} mm (RMS); most off, in mm: {worst}"
    )
    if body.lengths_m:
        pairs = ", ".join(
            f"{_in_words(name)} {100 * left:.1f} / {100 * right:.1f}"
            for name, (left, right, _) in body.lengths_m.items()
        )
        sds = [100 * sd for *_, sd in body.lengths_m.values()]
        facts.add_row("Lengths", f"left / right, in cm, ± {min(sds):.1f} to {max(sds):.1f}: {pairs}")
    facts.add_row("Height", f"{body.height_m:.2f} ± {body.height_sd_m:.2f} m by these lengths")
    for note in body.notes:
        facts.add_row("Body", Text(note))


def _in_words(name: str) -> str:
    side, rest = ({"l_": "left ", "r_": "right "}[name[:2]], name[2:]) if name[:2] in ("l_", "r_") else ("", name)
    return side + rest.replace("_", " ")


def _known(key: str, value: object) -> str:
    """One fact about the subject as a person reads it."""
    match key:
        case "height_m":
            return format_height(float(str(value)))
        case "mass_kg":
            return f"{float(str(value)):.1f} kg"
        case _:
            return str(value)


def _print_points(console: Console, inspection: Inspection) -> None:
    """The points with something to say about, those that a swing is measured from first, worst first."""
    swapped = {label for swap in inspection.swaps for label in swap.labels}

    def badness(point: PointQuality) -> tuple[bool, bool, float, int, float, str]:
        stuck = point.label in swapped or point.never_moves or bool(point.held)
        return (
            point.label not in inspection.measured_from,
            not stuck,
            -max((j.off_m for j in point.jumps), default=0.0),
            -len(point.jumps),
            -point.missing_share,
            point.label,
        )

    repairs = {repair.label: repair for repair in inspection.repairs}
    faulty = [
        p for p in inspection.points if p.missing_share or p.jumps or p.never_moves or p.held or p.label in swapped
    ]
    if not faulty:
        console.print("Every point is seen in every frame; none jumps, stands still or changes places with another.")
        return
    stated = any(point.mean_residual_m is not None for point in inspection.points)
    columns = ("Point", "Missing", "Longest gap", *(("Residual",) if stated else ()), "Looks wrong", "Cleaned")
    table = _table(*columns)
    for point in sorted(faulty, key=badness)[:WORST]:
        gap = f"{point.longest_gap} frames ({point.longest_gap_s:.2f} s)" if point.longest_gap else ""
        wrong = [f"{len(point.jumps)} jump{'s' if len(point.jumps) > 1 else ''}"] if point.jumps else []
        wrong += ["exchanged"] if point.label in swapped else []
        wrong += ["never moves"] if point.never_moves else []
        wrong += ["held"] if point.held else []
        table.add_row(
            Text(point.label),
            f"{100 * point.missing_share:.1f} %" if point.missing_share else "",
            gap,
            *((_residual(point),) if stated else ()),
            Text(", ".join(wrong)),
            _repaired(repairs[point.label]),
        )
    console.print(table)
    rest = len(inspection.points) - min(len(faulty), WORST)
    if len(faulty) > WORST:
        console.print(f"{len(faulty) - WORST} more points have gaps or jumps; all are in --json", highlight=False)
    elif rest:
        others = f"The other {rest} points are" if rest > 1 else "The other point is"
        console.print(f"{others} seen in every frame, without jumps.", highlight=False)


def _repaired(repairs: PointRepairs) -> str:
    """What cleaning made of a point's samples."""
    counts = (
        (repairs.taken_out, "taken out"),
        (repairs.by_spline, "by spline"),
        (repairs.from_neighbours, "by neighbours"),
        (repairs.left_missing, "left"),
    )
    return ", ".join(f"{count} {what}" for count, what in counts if count)


def _residual(point: PointQuality) -> str:
    """Mean and worst residual in millimetres."""
    if point.mean_residual_m is None or point.worst_residual_m is None:
        return "not stated"
    return f"{1000 * point.mean_residual_m:.1f} mm (worst {1000 * point.worst_residual_m:.1f})"


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, overflow="fold")
    return table
