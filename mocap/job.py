"""The main job: from a recording to a folder of results, all of them or none."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from mocap.display import Units
from mocap.errors import OutputError
from mocap.importer.session import Recording
from mocap.showing import Report, compared, pieces, progress_of

#: What a job leaves in its folder; of a held position without the sheet and the video.
RESULTS = ("foot_plant.png", "moments.png", "overlay.mp4", "page.html", "findings.json")
#: Size of the still that the page shows on a narrow screen. [px]
PORTRAIT = (1080, 1440)


@dataclass(frozen=True)
class Job:
    """One swing to work through.

    Attributes
    ----------
    recording : Recording
    units : {"metric", "imperial"}
    folder : Path
        Where its results go.
    piece : int or None
        Which swing of the recording, counted from 1; None: the recording holds one.
    """

    recording: Recording
    units: Units
    folder: Path
    piece: int | None = None

    @property
    def name(self) -> str:
        """What it is called while it is worked on."""
        file = self.recording.file.name
        return file if self.piece is None else f"{file}, swing {self.piece}"


def jobs_of(recording: Recording, units: Units, folder: Path, only: int | None = None) -> list[Job]:
    """The jobs of a recording: one, or one for each of its swings in folders `swing_1`, `swing_2`, ... of their own.

    Parameters
    ----------
    recording : Recording
    units : {"metric", "imperial"}
    folder : Path
    only : int, optional
        The one swing that is wanted, counted from 1.

    Returns
    -------
    list of Job

    Raises
    ------
    MocapError
        The recording cannot be read, or as `pieces_of`.
    """
    found = pieces(recording, only)
    if found[0].count == 1:
        return [Job(recording, units, folder)]
    return [Job(recording, units, folder / f"swing_{piece.number}", piece.number) for piece in found]


def run_jobs(jobs: list[Job], *, reference: str, limits: Path | None, replace: bool) -> list[Path]:
    """Work through swings with a progress bar.

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
        Of the first swing that cannot be worked through; the folders before it are complete, its own untouched. Before
        any work, where two swings would go into one folder.
    """
    from mocap.renderer import check_can_draw

    _refuse_same_folder(jobs)
    for job in jobs:
        _refuse_older(job.folder, replace)
    check_can_draw()
    for job in jobs:
        with progress_of(job.name) as report:
            run_job(job, reference=reference, limits=limits, report=report)
    return [job.folder for job in jobs]


def run_job(job: Job, *, reference: str, limits: Path | None, report: Report) -> None:
    """Work through one swing; its folder gets all results, or nothing.

    Parameters
    ----------
    job : Job
    reference, limits
        See `run_jobs`.
    report : callable
        Told the step's name, how much of it is done, and of how much (None: not known).
    """
    import mocap
    from mocap.results import findings_object
    from mocap.several_swings import in_whole_recording

    recording = job.recording
    piece = pieces(recording)[(job.piece or 1) - 1]
    report("measuring", 0, None)
    comparison, findings = compared(recording, piece, reference=reference, limits=limits, units=job.units)
    swing = comparison.swing
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
        told = findings_object(swing, in_whole_recording(findings, piece.start, swing.rate_hz), comparison)
        text = json.dumps(told, indent=2, ensure_ascii=False, allow_nan=False)
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


def _refuse_same_folder(jobs: list[Job]) -> None:
    homes: dict[Path, Job] = {}
    for job in jobs:
        other = homes.setdefault(job.folder, job)
        if other is not job:
            raise OutputError(
                f"{other.recording.file} and {job.recording.file} would both go into {job.folder}; rename one of them"
            )


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
