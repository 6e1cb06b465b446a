"""The main job: from a recording to a folder of results, all of them or none."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from mocap.display import Units
from mocap.errors import OutputError
from mocap.importer.session import Recording

#: What a job leaves in its folder; of a held position without the sheet and the video.
RESULTS = ("foot_plant.png", "moments.png", "overlay.mp4", "page.html", "findings.json")
#: Size of the still that the page shows on a narrow screen. [px]
PORTRAIT = (1080, 1440)


@dataclass(frozen=True)
class Job:
    """One recording to work through.

    Attributes
    ----------
    recording : Recording
    units : {"metric", "imperial"}
    folder : Path
        Where its results go.
    """

    recording: Recording
    units: Units
    folder: Path


def run_jobs(jobs: list[Job], *, reference: str, limits: Path | None, replace: bool) -> list[Path]:
    """Work through recordings with a progress bar.

    Parameters
    ----------
    jobs : list of Job
    reference : str
        Name or file of the reference model.
    limits : Path or None
        The coach's own table.
    replace : bool
        Whether results of the same names may be replaced.

    Returns
    -------
    list of Path
        The folders.

    Raises
    ------
    MocapError
        Of the first recording that cannot be worked through; the folders before it are complete, its own untouched.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskID, TaskProgressColumn, TextColumn, TimeRemainingColumn

    from mocap.renderer import check_can_draw

    for job in jobs:
        _refuse_older(job.folder, replace)
    check_can_draw()
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        for job in jobs:
            task = progress.add_task(f"{job.recording.file.name}: reading", total=None)

            def report(step: str, done: int, total: int | None, job: Job = job, task: TaskID = task) -> None:
                progress.update(task, description=f"{job.recording.file.name}: {step}", completed=done, total=total)

            run_job(job, reference=reference, limits=limits, report=report)
    return [job.folder for job in jobs]


def run_job(job: Job, *, reference: str, limits: Path | None, report: Callable[[str, int, int | None], None]) -> None:
    """Work through one recording; its folder gets all results, or nothing.

    Parameters
    ----------
    job : Job
    reference, limits
        See `run_jobs`.
    report : callable
        Told the step's name, how much of it is done, and of how much (None: not known).
    """
    import mocap
    from mocap.reference.compare import with_pose_distance
    from mocap.results import findings_object

    recording = job.recording
    calibration = mocap.read(recording.calibration) if recording.calibration else None
    swing = mocap.build_swing(mocap.read(recording.file), recording.hitter, recording.setup, calibration)
    report("measuring", 0, None)
    comparison = mocap.compare(swing, mocap.load_reference(reference), units=job.units)
    findings = with_pose_distance(mocap.measure(swing, limits=limits), comparison, limits=limits)
    with _scratch(job.folder) as scratch:
        report("drawing the still", 0, None)
        mocap.draw_still(comparison, findings, scratch / "foot_plant.png", units=job.units)
        mocap.draw_still(comparison, findings, scratch / "portrait.png", size=PORTRAIT, units=job.units)
        pictures = {"still": "foot_plant.png", "portrait": "portrait.png"}
        if not swing.setup.held:  # of a held position there is no more to show than the still
            report("drawing the sheet", 0, None)
            mocap.draw_sheet(comparison, findings, scratch / "moments.png", units=job.units)
            mocap.draw_film(
                comparison,
                findings,
                scratch / "overlay.mp4",
                units=job.units,
                progress=lambda done, total: report("drawing the video", done, total),
            )
            pictures |= {"sheet": "moments.png", "film": "overlay.mp4"}
        embedded = {name: scratch / file for name, file in pictures.items()}
        mocap.write_page(comparison, findings, scratch / "page.html", pictures=embedded, units=job.units)
        text = json.dumps(findings_object(swing, findings, comparison), indent=2, ensure_ascii=False, allow_nan=False)
        (scratch / "findings.json").write_text(text + "\n", encoding="utf-8")
        _publish(scratch, job.folder)


@contextmanager
def _scratch(folder: Path) -> Iterator[Path]:
    """A folder beside the target to work in; it goes in the end, and so do parents that were made in vain."""
    parent = folder.absolute().parent
    made = [place for place in (parent, *parent.parents) if not place.exists()]
    try:
        parent.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=parent))
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror or error})") from error
    try:
        yield scratch
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
        for place in made:
            with suppress(OSError):  # it holds results
                place.rmdir()


def _refuse_older(folder: Path, replace: bool) -> None:
    older = [name for name in RESULTS if (folder / name).exists()]
    if older and not replace:
        raise OutputError(f"{folder} already holds {older[0]}; choose another --out, or give --replace")
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file; choose another --out")


def _publish(scratch: Path, folder: Path) -> None:
    """Rename the finished results into their folder."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in RESULTS:
            if (scratch / name).exists():
                (scratch / name).replace(folder / name)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror or error})") from error
