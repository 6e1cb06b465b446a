"""Standing height from the lengths of segments, where nobody states it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from mocap.capture import FloatArray
from mocap.errors import InputError
from mocap.kinematics.inertia import Sex
from mocap.kinematics.scaling import published_shares, segment_lengths

#: Lengths that tell the height, each the sum of its segments.
CHAINS = MappingProxyType({"leg": ("thigh", "shank"), "arm": ("upper_arm", "forearm"), "trunk": ("trunk",)})

#: Spread of each length's share of stature between people, relative. Leg and trunk: sitting height over stature varies
#: by about .015 of stature (this project's estimate from the spreads of both, 1.48 in and 2.85 in, in the US survey of
#: 1960-62), of which the head's part varies little; .015 is 3.0 % of the leg's .493 and 5.2 % of the trunk's .292. Arm:
#: arm length over the height of the anterior iliac spine varies by .03 in .76 (290 children, Brush study), 4 %, less
#: what the leg varies; this project's default from it.
BETWEEN_PEOPLE = MappingProxyType({"leg": 0.030, "arm": 0.030, "trunk": 0.052})
#: How these spreads go together: who has long legs has a short trunk, as both make up the stature, and long arms. This
#: project's default; leg and trunk together then vary by .010 of stature, about as much as head, neck and ankle do.
TOGETHER = MappingProxyType({("leg", "trunk"): -0.75, ("leg", "arm"): 0.5, ("arm", "trunk"): -0.4})
#: What the points themselves are off, relative: joint centres by 1 cm per axis; shoulders and wrists by what recording
#: systems call a shoulder and a wrist (a solved skeleton's may lie 15 % off), and the trunk also by how far it is bent.
#: This project's defaults.
OF_THE_POINTS = MappingProxyType({"leg": 0.016, "arm": 0.080, "trunk": 0.120})


#: A stated height contradicts the measured one beyond this many standard deviations. This project's default.
CONTRADICTS = 3.0


def height_from_segments(
    centres: Mapping[str, FloatArray], *, sex: Sex = "male", sides: tuple[str, str] = ("l", "r")
) -> tuple[float, float]:
    """Standing height from the lengths of legs, arms and trunk, whichever are seen, with its standard deviation.

    Parameters
    ----------
    centres : mapping of str to ndarray, shape (F, 3)
        Joint centres. [m]
    sex : {"male", "female"}
    sides : tuple of 2 str
        Prefixes of the paired names.

    Returns
    -------
    (height, sd)
        [m]

    Raises
    ------
    InputError
        Neither a leg, an arm nor the trunk is seen.

    Notes
    -----
    Each length L gives the height L / s; the share s is the mean of de Leva's and of Drillis & Contini's. The heights
    are combined by generalised least squares: h = w' h_i / sum(w) with w = C^-1 1, of variance 1 / sum(w). C holds the
    spread between people, which goes together between segments, that between the two sources, and that of the points.
    Where the segments contradict each other by more than C explains, the standard deviation grows by the square root of
    chi^2 per degree of freedom (Birge's ratio). Young children's legs are shorter for their height than adults', so
    that their heights come out low; no shares by age between joint centres are at hand to correct it.

    References
    ----------
    Aitken AC (1936) Proc R Soc Edinb 55:42-48 (generalised least squares). Birge RT (1932) Phys Rev 40:207-227.
    de Leva P (1996) J Biomech 29(9):1223-1230. Drillis R, Contini R (1966) in Winter DA (2009), Fig. 4.1.
    """
    lengths = segment_lengths(centres, sides=sides)
    seen = [name for name, parts in CHAINS.items() if all(part in lengths for part in parts)]
    if not seen:
        raise InputError("the height cannot be estimated: neither a leg, an arm nor the trunk is seen whole; give it")
    shares = {name: _shares(name, sex) for name in seen}
    heights = np.array([sum(lengths[part] for part in CHAINS[name]) / np.mean(shares[name]) for name in seen])
    covariance = _covariance(shares)
    weights = np.linalg.solve(covariance, np.ones(len(seen)))
    variance = 1.0 / weights.sum()
    height = float(weights @ heights * variance)
    off = heights / height - 1.0
    chi_squared = float(off @ np.linalg.solve(covariance, off))
    birge = max(1.0, np.sqrt(chi_squared / max(len(seen) - 1, 1)))
    return height, float(height * np.sqrt(variance) * birge)


def _shares(chain: str, sex: Sex) -> tuple[float, float]:
    """The two sources' shares of stature of one length."""
    both = published_shares("de_leva", sex), published_shares("drillis_contini", sex)
    first, second = (sum(shares[part] for part in CHAINS[chain]) for shares in both)
    return first, second


def _covariance(shares: Mapping[str, tuple[float, float]]) -> FloatArray:
    """Relative covariance of the heights that single lengths give, shape (n, n)."""
    names = list(shares)
    covariance = np.zeros((len(names), len(names)))
    for i, name in enumerate(names):
        # Half the difference is the standard deviation of two values about their mean.
        between_sources = abs(shares[name][0] - shares[name][1]) / 2 / np.mean(shares[name])
        covariance[i, i] = BETWEEN_PEOPLE[name] ** 2 + between_sources**2 + OF_THE_POINTS[name] ** 2
        for k, other in enumerate(names[:i]):
            together = TOGETHER.get((other, name), TOGETHER.get((name, other), 0.0))
            covariance[i, k] = covariance[k, i] = together * BETWEEN_PEOPLE[name] * BETWEEN_PEOPLE[other]
    return covariance


def height_contradiction(stated_m: float, measured_m: float, measured_sd_m: float) -> str:
    """One line where a stated height cannot be that of the measured body, else nothing.

    Parameters
    ----------
    stated_m, measured_m, measured_sd_m : float
        [m]
    """
    if abs(stated_m - measured_m) <= CONTRADICTS * measured_sd_m:
        return ""
    return (
        f"the segments measure a height of {measured_m:.2f} ± {measured_sd_m:.2f} m, but {stated_m:.2f} m is stated:"
        " every share of height is off by as much; check the height, the file's unit and whose recording it is"
    )
