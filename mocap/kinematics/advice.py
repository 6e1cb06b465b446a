"""What to work on: for each measure that is off a cue and a drill, landing before turn, cause before symptom."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from mocap.assets import asset
from mocap.display import Units
from mocap.findings import Advice, Check, Measure
from mocap.kinematics.limits import matches, nearest, plain_level
from mocap.kinematics.sentences import Speaker, spoken, wording
from mocap.swing import Hitter


@dataclass(frozen=True)
class Drill:
    """How one drill is done."""

    name: str
    set_up: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Fault:
    """One way in which a measure can be off, and what to do about it.

    Attributes
    ----------
    measure : str
    side : str
        `low` or `high`: below or above what is good; of a text measure the text, with `*` for anything.
    cue, drill, focus, look_for : str
        `drill` is a drill's name, `focus` what matters in it; `{good}` in `look_for` stands for what is good.
    because_of : tuple of str
        Faults that explain this one: measure and side, or the measure alone for any side.
    """

    measure: str
    side: str
    cue: str
    drill: str
    focus: str
    look_for: str
    because_of: tuple[str, ...]

    @property
    def name(self) -> str:
        """Measure and side."""
        return f"{self.measure} {self.side}"


@dataclass(frozen=True)
class Drills:
    """The table of ``assets/tables/drills.toml``.

    Attributes
    ----------
    faults : tuple of Fault
        In the order in which a coach goes about them.
    drills : mapping of str to Drill
    cautions, child_cautions : tuple of str
        For every drill; and for every hitter whose level is not among `grown`.
    grown : tuple of str
    """

    faults: tuple[Fault, ...]
    drills: Mapping[str, Drill]
    cautions: tuple[str, ...]
    child_cautions: tuple[str, ...]
    grown: tuple[str, ...]


#: In place of a drill where a coach's own limits call something off that the table has none for.
NONE_LISTED = Drill("your own", "No drill is listed for this; choose one of your own.", ())


@lru_cache(maxsize=1)
def load_drills() -> Drills:
    """Faults and drills from ``assets/tables/drills.toml``."""
    table = tomllib.loads(asset("tables", "drills.toml").read_text(encoding="utf-8"))
    return Drills(
        faults=tuple(Fault(**{**row, "because_of": tuple(row["because_of"])}) for row in table["faults"]),
        drills={row["name"]: Drill(row["name"], row["set_up"], tuple(row["cautions"])) for row in table["drills"]},
        cautions=tuple(table["cautions"]),
        child_cautions=tuple(table["child_cautions"]),
        grown=tuple(table["grown"]),
    )


def work_on(
    checks: Iterable[Check], measures: Mapping[str, Measure], *, hitter: Hitter, units: Units = "metric"
) -> tuple[Advice, ...]:
    """What to work on, first things first.

    Parameters
    ----------
    checks : iterable of Check
    measures : mapping of str to Measure
        Those that the checks are about.
    hitter : Hitter
        Whose level decides on the cautions for children, and whose height turns shares into lengths.
    units : {"metric", "imperial"}

    Returns
    -------
    tuple of Advice
        One for each check that is `off`; a drill that serves a second fault refers to the first. A fault that another
        one explains comes after it and says so.
    """
    table = load_drills()
    off = {fault: check for check in checks if check.verdict == "off" for fault in [_fault_of(check, measures, table)]}
    grown = plain_level(hitter.level) in table.grown
    cautions = table.cautions + (() if grown else table.child_cautions)
    advice: list[Advice] = []
    shown: dict[str, str] = {}
    for fault in _in_order(off, table.faults):
        speaker = Speaker(measures[fault.measure], hitter.height_m, units)
        causes = _in_order(_causes(fault, off), table.faults)
        drill = table.drills.get(fault.drill, NONE_LISTED)
        set_up = f"As above for the {shown[drill.name]}." if drill.name in shown else drill.set_up
        shown.setdefault(drill.name, speaker.words.noun)
        look_for = fault.look_for.format(good=_good(off[fault], measures[fault.measure], speaker))
        advice.append(
            Advice(
                measure=fault.measure,
                cue=fault.cue,
                drill=drill.name,
                set_up=f"{set_up} {fault.focus}".strip(),
                look_for=f"{look_for} {_because(causes, measures)}".strip(),
                cautions=drill.cautions + cautions,
            )
        )
    return tuple(advice)


def _fault_of(check: Check, measures: Mapping[str, Measure], table: Drills) -> Fault:
    """The row for a check that is off; a plain one where the coach's own limits go beyond the table."""
    measure = measures[check.measure]
    if isinstance(measure.value, str):
        rows = [f for f in table.faults if f.measure == check.measure and matches(measure.value, [f.side])]
        side = measure.value
    else:
        assert measure.value is not None  # what is not measurable is not off
        side = "low" if measure.value < float(check.good[0]) else "high"
        rows = [f for f in table.faults if (f.measure, f.side) == (check.measure, side)]
    if rows:
        return rows[0]
    noun = _noun(measure)
    cue = f"Mend the {noun}." if isinstance(measure.value, str) else f"{'More' if side == 'low' else 'Less'}: {noun}."
    return Fault(check.measure, side, cue, "", "", f"{noun[:1].upper()}{noun[1:]}: {{good}}.", ())


def _in_order(faults: Iterable[Fault], table: Sequence[Fault]) -> list[Fault]:
    """In the table's order, but each after those that explain it."""
    ranked = sorted(faults, key=lambda fault: table.index(fault) if fault in table else len(table))
    ordered: dict[Fault, None] = {}
    begun: set[Fault] = set()

    def put(fault: Fault) -> None:
        if fault in begun:
            return
        begun.add(fault)
        for cause in _causes(fault, ranked):
            put(cause)
        ordered[fault] = None

    for fault in ranked:
        put(fault)
    return list(ordered)


def _causes(fault: Fault, present: Iterable[Fault]) -> list[Fault]:
    """Those present that explain a fault."""
    return [f for f in present if f is not fault and {f.measure, f.name} & set(fault.because_of)]


def _because(causes: Sequence[Fault], measures: Mapping[str, Measure]) -> str:
    """That a fault may go with the first of those that explain it."""
    return f"It may be there already once the {_noun(measures[causes[0].measure])} is mended." if causes else ""


def _noun(measure: Measure) -> str:
    return wording(measure.name, measure.label).noun


def _good(check: Check, measure: Measure, speaker: Speaker) -> str:
    """What is good, as it is said."""
    low, high = check.good[0], check.good[-1]
    if isinstance(low, str) or isinstance(high, str):
        return spoken(nearest(str(measure.value), check.good))
    return speaker.band(low, high)
