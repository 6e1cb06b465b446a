"""What many swings of one hitter show: his level and his scatter on each day, and whether a change is more than noise.

The model. What is measured in a swing is the day's level, plus the hitter's own scatter from swing to swing, plus the
error of measuring, whose standard deviation each measure states. Part of that error (joint centres, the direction to
the pitcher) is the same in all swings of a day, part (noise, the frame of a moment) is new in each; how much is which
is not known, so that each number supposes what is worse for it:

- the standard error of a day's mean takes the whole of it as common to the day: it does not shrink with more swings;
- between two days it is taken as independent, though markers stuck by the same rules on the same body err alike;
- of the hitter's own scatter, the lower end supposes that all of it is new in each swing and takes it off, the upper
  end that none is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Literal

import numpy as np

from mocap.findings import Findings, Measure

ChangeVerdict = Literal["more than noise", "could be noise", "too few swings"]
Direction = Literal["toward good", "away from good", "within good", ""]

#: Share of cases in which an interval holds the truth.
COVERAGE = 0.95


@dataclass(frozen=True)
class DatedFindings:
    """One swing of a season.

    Attributes
    ----------
    day : date
    kind : str
        `live`, `toss`, `tee` or `held`.
    findings : Findings
    """

    day: date
    kind: str
    findings: Findings


@dataclass(frozen=True)
class Day:
    """One measure on one day, n swings.

    Attributes
    ----------
    day : date
    n : int
        Swings in which it was measured.
    mean : float
    sd : float or None
        Between the swings, measurement noise included; None of a single swing.
    noise_sd : float
        Standard deviation of the error of measuring one swing, root mean square over the swings.
    """

    day: date
    n: int
    mean: float
    sd: float | None
    noise_sd: float

    @property
    def scatter_variance(self) -> float:
        """Variance of the mean by the scatter between swings; zero where a single swing does not show it."""
        return 0.0 if self.sd is None else self.sd**2 / self.n

    @property
    def standard_error(self) -> float:
        """Standard error of the mean; of a single swing that of measuring alone."""
        return float(np.sqrt(self.scatter_variance + self.noise_sd**2))


@dataclass(frozen=True)
class OwnScatter:
    """How much a hitter's swings differ on one day.

    Attributes
    ----------
    sd : float
        Within a day, pooled over days, measurement noise included (the typical error).
    df : int
        Degrees of freedom: swings less days.
    own_sd : float
        With the error of measuring taken off; 0 where it explains all of the scatter.
    low, high : float
        95 % interval of the hitter's own: see the module.
    """

    sd: float
    df: int
    own_sd: float
    low: float
    high: float


@dataclass(frozen=True)
class Change:
    """A later day's mean minus an earlier day's.

    Attributes
    ----------
    earlier, later : date
    value : float
    standard_error : float
        Where a day has a single swing, that of measuring alone.
    df : float
        Effective degrees of freedom, infinite where only the error of measuring is known.
    low, high : float
        95 % interval.
    verdict : {"more than noise", "could be noise", "too few swings"}
    direction : {"toward good", "away from good", "within good", ""}
        Where a change that is more than noise leads, by the good band; empty without one.
    """

    earlier: date
    later: date
    value: float
    standard_error: float
    df: float
    low: float
    high: float
    verdict: ChangeVerdict
    direction: Direction

    @property
    def detectable(self) -> float:
        """The smallest change, between days of as many swings, that would count as more than noise."""
        return (self.high - self.low) / 2.0

    @property
    def measured(self) -> bool:
        """Whether the interval leaves out zero, which for a single swing on a day is that of measuring alone."""
        return abs(self.value) > self.detectable


@dataclass(frozen=True)
class Trend:
    """One measure over the days.

    Attributes
    ----------
    name, label, unit, family : str
        As of the measure.
    days : tuple of Day
        In order.
    own : OwnScatter or None
        None where no day has two swings.
    changes : tuple of Change
        Of every later day since the first.
    """

    name: str
    label: str
    unit: str
    family: str
    days: tuple[Day, ...]
    own: OwnScatter | None
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class TextTrend:
    """One measure in words over the days.

    Attributes
    ----------
    name, label, family : str
    counts : mapping of date to mapping of str to int
        How often each text came out.
    """

    name: str
    label: str
    family: str
    counts: Mapping[date, Mapping[str, int]]


@dataclass(frozen=True)
class Season:
    """Swings, or held positions, of one hitter over days.

    Attributes
    ----------
    swings : mapping of date to int
        How many there are.
    kinds : mapping of date to tuple of str
        Which kinds they are of.
    trends : tuple of Trend
    texts : tuple of TextTrend
    not_measured : mapping of str to str
        Labels of measures that no swing shows, and why.
    """

    swings: Mapping[date, int]
    kinds: Mapping[date, tuple[str, ...]]
    trends: tuple[Trend, ...]
    texts: tuple[TextTrend, ...]
    not_measured: Mapping[str, str]


def season_of(swings: Sequence[DatedFindings]) -> Season:
    """Level, scatter and change of every measure of one hitter.

    Parameters
    ----------
    swings : sequence of DatedFindings
        At least one; either swings or held positions.

    Returns
    -------
    Season
    """
    ordered = sorted(swings, key=lambda swing: swing.day)
    by_day = {day: list(group) for day, group in groupby(ordered, key=lambda swing: swing.day)}
    shown = {name: measure for swing in ordered for name, measure in swing.findings.measures.items()}
    trends, texts, not_measured = [], [], {}
    for name, measure in shown.items():
        taken = {day: [swing.findings.measures[name] for swing in group] for day, group in by_day.items()}
        known = [one for group in taken.values() for one in group if one.value is not None]
        if not known:
            not_measured[measure.label] = measure.why
        elif isinstance(known[0].value, str):
            texts.append(TextTrend(name, measure.label, measure.family, _counts(taken)))
        else:
            trends.append(_trend(measure, taken, _good_band(ordered, name)))
    return Season(
        swings={day: len(group) for day, group in by_day.items()},
        kinds={day: tuple(sorted({swing.kind for swing in group})) for day, group in by_day.items()},
        trends=tuple(trends),
        texts=tuple(texts),
        not_measured=not_measured,
    )


def _counts(taken: Mapping[date, Sequence[Measure]]) -> dict[date, dict[str, int]]:
    counts: dict[date, dict[str, int]] = {}
    for day, group in taken.items():
        texts = [one.value for one in group if isinstance(one.value, str)]
        counts[day] = {text: texts.count(text) for text in sorted(set(texts), key=lambda text: -texts.count(text))}
    return counts


def _good_band(swings: Sequence[DatedFindings], name: str) -> tuple[float, float] | None:
    for check in swings[-1].findings.checks:
        if check.measure == name and len(check.good) == 2 and not isinstance(check.good[0], str):
            return float(check.good[0]), float(check.good[1])
    return None


def _trend(measure: Measure, taken: Mapping[date, Sequence[Measure]], good: tuple[float, float] | None) -> Trend:
    days = []
    for day, group in taken.items():
        known = [(one.value, one.sd or 0.0) for one in group if isinstance(one.value, float)]
        if known:
            days.append(day_of(day, [value for value, _ in known], [sd for _, sd in known]))
    changes = tuple(change_between(days[0], later, good) for later in days[1:])
    return Trend(measure.name, measure.label, measure.unit, measure.family, tuple(days), own_scatter(days), changes)


def day_of(day: date, values: Sequence[float], sds: Sequence[float]) -> Day:
    """One measure's values on one day, put together.

    Parameters
    ----------
    day : date
    values, sds : sequence of float, length n
        Of each swing, with the standard deviation of measuring it.

    Returns
    -------
    Day
    """
    sd = float(np.std(values, ddof=1)) if len(values) > 1 else None
    return Day(day, len(values), float(np.mean(values)), sd, float(np.sqrt(np.mean(np.square(sds)))))


def own_scatter(days: Sequence[Day]) -> OwnScatter | None:
    """The hitter's own consistency: what his swings on one day differ by.

    Parameters
    ----------
    days : sequence of Day
        Those of a single swing tell nothing.

    Returns
    -------
    OwnScatter or None
        None where no day has two swings.

    Notes
    -----
    The variance within days is pooled by degrees of freedom; this is the typical error of Hopkins (2000). The mean
    variance of measuring is taken off: own^2 = max(0, s^2 - u^2). Ends of the interval: s^2 df / chi2(0.975, df) - u^2
    and s^2 df / chi2(0.025, df).

    References
    ----------
    Hopkins WG (2000) Measures of reliability in sports medicine and science. Sports Med 30:1-15 (from memory).
    """
    from scipy.stats import chi2

    several = [(day, day.sd) for day in days if day.sd is not None]
    df = sum(day.n - 1 for day, _ in several)
    if not df:
        return None
    variance = sum((day.n - 1) * sd**2 for day, sd in several) / df
    noise = sum((day.n - 1) * day.noise_sd**2 for day, _ in several) / df
    tail = (1.0 - COVERAGE) / 2.0
    least, most = variance * df / chi2.ppf(1.0 - tail, df), variance * df / chi2.ppf(tail, df)
    own, low = (float(np.sqrt(max(0.0, value - noise))) for value in (variance, least))
    return OwnScatter(float(np.sqrt(variance)), df, own, low, float(np.sqrt(most)))


def change_between(earlier: Day, later: Day, good: tuple[float, float] | None = None) -> Change:
    """What changed between two days, and whether it is more than noise.

    Parameters
    ----------
    earlier, later : Day
    good : tuple of 2 floats, optional
        The band that counts as good, infinite at an open end.

    Returns
    -------
    Change
        "too few swings" where either day has a single one: the interval then holds the error of measuring alone, as the
        hitter's own scatter is not known.

    Notes
    -----
    The variance of the difference is s1^2/n1 + s2^2/n2 + u1^2 + u2^2. Only the first two terms are estimated from few
    swings; the degrees of freedom are those of Welch and Satterthwaite with infinite ones for the others,
    variance^2 / sum((s^2/n)^2 / (n - 1)), which without error of measuring is Welch's t.

    References
    ----------
    Welch BL (1947) The generalization of "Student's" problem when several different population variances are involved.
    Biometrika 34:28-35; JCGM 100:2008 (Guide to the expression of uncertainty in measurement), G.4.1. Smallest change
    that is told from noise: Weir JP (2005) J Strength Cond Res 19:231-240. All from memory.
    """
    from scipy.stats import norm, t

    error = float(np.hypot(earlier.standard_error, later.standard_error))
    estimated = sum(day.scatter_variance**2 / (day.n - 1) for day in (earlier, later) if day.n > 1)
    df = error**4 / estimated if estimated > 0.0 else np.inf
    upper = 0.5 + COVERAGE / 2.0
    reach = float(t.ppf(upper, df) if np.isfinite(df) else norm.ppf(upper)) * error
    value = later.mean - earlier.mean
    verdict: ChangeVerdict = "more than noise" if abs(value) > reach else "could be noise"
    if min(earlier.n, later.n) < 2:
        verdict = "too few swings"
    leads = _direction(earlier.mean, later.mean, good) if verdict == "more than noise" and good else ""
    return Change(earlier.day, later.day, value, error, float(df), value - reach, value + reach, verdict, leads)


def _direction(earlier: float, later: float, good: tuple[float, float]) -> Direction:
    before, after = (max(good[0] - value, 0.0, value - good[1]) for value in (earlier, later))
    if before == after == 0.0:
        return "within good"
    return "toward good" if after < before else "away from good"
