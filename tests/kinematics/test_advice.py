"""What to work on: the table is whole, the order is a coach's, and no drill is told twice."""

from __future__ import annotations

import itertools
import math

import pytest

from mocap.display import cautions_once
from mocap.findings import Advice, Measure
from mocap.kinematics.advice import Fault, load_drills, work_on
from mocap.kinematics.checks import Limit, check, check_all, load_limits
from mocap.kinematics.limits import matches
from mocap.kinematics.measuring import FAMILIES, OF_COMPARISONS
from mocap.kinematics.registry import REGISTRY
from mocap.swing import Hitter

ADULT = Hitter(height_m=1.80, level="adult")
LIMITS = {limit.measure: limit for limit in load_limits() if limit.level in ("", "adult")}


def faulty(**values: float | str) -> dict[str, Measure]:
    """Measures that are sure to their last digit."""
    return {
        name: Measure(name, value, None if isinstance(value, str) else 0.0, unit_of(name), name, "plant")
        for name, value in values.items()
    }


def unit_of(name: str) -> str:
    return REGISTRY[name].unit if name in REGISTRY else "m"


def advise(hitter: Hitter = ADULT, **values: float | str) -> tuple[Advice, ...]:
    measures = faulty(**values)
    return work_on(check_all(measures, load_limits(), hitter=hitter), measures, hitter=hitter)


def named(advice: tuple[Advice, ...]) -> list[str]:
    return [one.measure for one in advice]


# ---------------------------------------------------------------------------------------------------------- table


def open_sides(limit: Limit) -> list[str]:
    """The sides on which a measure can be off."""
    low, high = limit.near
    return [side for side, end in (("low", low), ("high", high)) if math.isfinite(float(end))]


def test_every_limit_has_advice_for_each_side_on_which_it_can_be_missed() -> None:
    known = {fault.name for fault in load_drills().faults}
    for limit in load_limits():
        if not isinstance(limit.good[0], str):
            assert {f"{limit.measure} {side}" for side in open_sides(limit)} <= known


def test_every_text_that_is_off_has_advice() -> None:
    faults = load_drills().faults
    segments = ("pelvis", "trunk", "arm", "bat")
    texts = {"bat_position": ["tilted", "wrapped", "flat"]}
    texts["sequence"] = [" > ".join(order) for n in (2, 3, 4) for order in itertools.permutations(segments, n)]
    for name, values in texts.items():
        limit = LIMITS[name]
        for value in values:
            found = check(Measure(name, value, None, "", name, "turn"), limit, height_m=1.8)
            rows = [f for f in faults if f.measure == name and matches(value, [f.side])]
            assert rows or found.verdict != "off", value


def test_the_table_of_drills_is_whole() -> None:
    table = load_drills()
    names = [fault.name for fault in table.faults]
    assert len(set(names)) == len(names)
    used = {fault.drill for fault in table.faults}
    assert used == set(table.drills)
    measures = {fault.measure for fault in table.faults}
    assert measures <= {*REGISTRY, *OF_COMPARISONS}
    for fault in table.faults:
        assert set(fault.because_of) <= {*names, *measures}, fault.name
        assert fault.measure not in fault.because_of
        assert all(text.endswith(".") for text in (fault.cue, fault.focus, fault.look_for))


def test_faults_stand_landing_before_turn_before_barrel_and_causes_come_no_later() -> None:
    faults = load_drills().faults

    def chapter(fault: Fault) -> int:
        return FAMILIES.index(REGISTRY[fault.measure].family) if fault.measure in REGISTRY else 0

    chapters = [chapter(fault) for fault in faults]
    assert chapters == sorted(chapters)
    for fault in faults:
        for cause in faults:
            if {cause.name, cause.measure} & set(fault.because_of):
                assert chapter(cause) <= chapter(fault)


def test_no_fault_explains_itself_in_a_ring() -> None:
    faults = load_drills().faults
    causes = {f.name: {c.name for c in faults if {c.name, c.measure} & set(f.because_of)} for f in faults}
    while causes:
        free = {name for name, because in causes.items() if not because & set(causes)}
        assert free, f"a ring among {sorted(causes)}"
        causes = {name: because for name, because in causes.items() if name not in free}


# ---------------------------------------------------------------------------------------------------------- order


def test_only_what_is_off_is_worked_on() -> None:
    assert advise(back_share=0.55, trunk_open=4.0) == ()  # good, near
    unsure = {"back_share": Measure("back_share", 0.39, 0.02, "share", "", "plant")}
    assert work_on(check_all(unsure, load_limits(), hitter=ADULT), unsure, hitter=ADULT) == ()


def test_landing_before_turn_before_barrel() -> None:
    found = advise(hitting_zone=0.2, back_foot_turn=0.0, pelvis_open=43.0, bat_position="flat")
    assert named(found) == ["pelvis_open", "bat_position", "back_foot_turn", "hitting_zone"]


def test_a_cause_comes_before_its_symptom_which_says_so() -> None:
    found = {one.measure: one for one in advise(back_share=0.35, stride_length=0.60, forward_after_plant=0.15)}
    # In the table weight stands before the stride; an overstride explains it.
    assert list(found) == ["stride_length", "back_share", "forward_after_plant"]
    assert "once" not in found["stride_length"].look_for
    assert found["back_share"].look_for == (
        "50 to 60 % of the weight on the back foot at foot-plant. It may be there already once the length of the stride"
        " is mended."
    )
    assert found["forward_after_plant"].look_for.endswith("once the weight on the back foot is mended.")
    # On its own it is nobody's symptom.
    (alone,) = advise(back_share=0.35)
    assert alone.look_for == "50 to 60 % of the weight on the back foot at foot-plant."


def test_too_low_and_too_high_are_different_faults() -> None:
    (low,), (high,) = advise(back_share=0.35), advise(back_share=0.80)
    assert (low.cue, low.drill) != (high.cue, high.drill)
    cues = [advise(sequence=text)[0].cue for text in ("trunk > pelvis > bat", "arm > pelvis > trunk > bat")]
    assert cues[0] != cues[1]


@pytest.mark.parametrize(
    ("units", "words"),
    [("metric", "A stride of 34 to 50 % of height (61 to 90 cm)."), ("imperial", "(24.1 to 35.4 in)")],
)
def test_what_to_look_for_is_the_limit_in_the_units_asked_for(units: str, words: str) -> None:
    measures = faulty(stride_length=0.60)
    checks = check_all(measures, load_limits(), hitter=ADULT)
    (found,) = work_on(checks, measures, hitter=ADULT, units=units)  # type: ignore[arg-type]
    assert words in found.look_for


def test_what_to_look_for_follows_the_coachs_own_limit() -> None:
    measures = faulty(axis_drift=0.30)
    own = (Limit("axis_drift", (-math.inf, 0.07), (-math.inf, 0.09), "mine"),)
    (found,) = work_on(check_all(measures, own, hitter=ADULT), measures, hitter=ADULT)
    assert "up to 7 cm" in found.look_for


def test_limits_of_the_coachs_own_beyond_the_table_are_not_passed_over() -> None:
    measures = faulty(axis_tilt=50.0)
    own = (Limit("axis_tilt", (-math.inf, 30.0), (-math.inf, 40.0), "mine"),)
    (found,) = work_on(check_all(measures, own, hitter=ADULT), measures, hitter=ADULT)
    assert found.cue == "Less: lean of the body's axis."
    assert found.look_for == "Lean of the body's axis: up to 30°."
    assert "choose one of your own" in found.set_up
    assert found.cautions == load_drills().cautions


# --------------------------------------------------------------------------------------------------------- drills


def test_a_drill_is_told_once_and_then_referred_to() -> None:
    first, second = advise(back_foot_turn=0.0, back_heel_lift=0.01)
    assert first.drill == second.drill
    told = load_drills().drills[first.drill].set_up
    assert told in first.set_up
    assert told not in second.set_up
    assert second.set_up.startswith("As above for the turn of the back foot. ")


def test_every_fault_at_once_repeats_no_text_and_loses_none() -> None:
    values: dict[str, float | str] = {"bat_position": "wrapped", "sequence": "trunk > pelvis > arm > bat"}
    for name, limit in LIMITS.items():
        if not isinstance(limit.good[0], str):
            low, high = (float(end) for end in limit.near)
            values[name] = high + 1.0 if math.isfinite(high) else low - 1.0
    found = advise(ADULT, **values)
    assert sorted(named(found)) == sorted(values)
    told = [drill.set_up for drill in load_drills().drills.values()]
    assert all(sum(text in one.set_up for one in found) <= 1 for text in told)


def test_cautions_are_general_of_the_drill_and_for_children() -> None:
    table = load_drills()
    (grown,), (child,), (unknown,) = (
        advise(Hitter(height_m=1.8, level=level), pelvis_open=43.0) for level in ("Adult", "youth", "")
    )
    assert set(grown.cautions) == {*table.cautions, *table.drills["held landing"].cautions}
    assert set(child.cautions) - set(grown.cautions) == set(table.child_cautions)
    assert unknown.cautions == child.cautions  # nobody said that he is grown
    words = " ".join(child.cautions)
    for needed in ("in front of, behind", "Helmet", "Pain ends", "licensed", "local rules"):
        assert needed in words


def test_each_caution_is_read_once() -> None:
    found = advise(pelvis_open=43.0, pose_distance=0.2, trunk_open=25.0)
    own, shared = cautions_once(found)
    assert len(own) == len(found)
    listed = [caution for part in (*own, shared) for caution in part]
    assert len(set(listed)) == len(listed)
    assert set(listed) == {caution for one in found for caution in one.cautions}
    assert cautions_once(found[:1]) == ([[]], list(found[0].cautions))
    assert cautions_once(()) == ([], [])
