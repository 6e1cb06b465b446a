"""What a coach says about a measure: complete sentences with the number, the limit and by how much it is missed."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from mocap.assets import asset
from mocap.display import Scale, Units, length_scale, scale_of
from mocap.findings import Measure, Verdict

#: How many decimals more than usual a sentence may show where two numbers would otherwise read alike.
FINER = 3


@dataclass(frozen=True)
class Wording:
    """The words for one measure; see ``assets/tables/sentences.toml``.

    Attributes
    ----------
    noun, says, settle : str
    forms, edges : tuple of 2 str
        Words for a value, and for a limit, above and below zero; the same twice where the number has no direction.
    """

    noun: str
    says: str
    settle: str
    forms: tuple[str, str]
    edges: tuple[str, str]

    @property
    def directed(self) -> bool:
        """Whether the sign is said in words."""
        return self.forms[0] != self.forms[1]


@lru_cache(maxsize=1)
def _table() -> Mapping[str, Mapping[str, str | list[str]]]:
    return tomllib.loads(asset("tables", "sentences.toml").read_text(encoding="utf-8"))


def wording(name: str, label: str) -> Wording:
    """The words for a measure, those of its label where the table has none."""
    row = _table().get(name, {})
    forms = row.get("forms", ["{}", "{}"])
    edges = row.get("edges", forms)
    return Wording(
        noun=str(row.get("noun", label[:1].lower() + label[1:])),
        says=str(row.get("says", f"{label} is {{}}")),
        settle=str(row.get("settle", "the mean of several swings")),
        forms=(forms[0], forms[1]),
        edges=(edges[0], edges[1]),
    )


def spoken(text: str) -> str:
    """A text measure as it is said: ``"pelvis > arm = trunk"`` is "pelvis, then arm and trunk together"."""
    groups = [group.split(" = ") for group in text.split(" > ")]
    said = [f"{', '.join(g[:-1])} and {g[-1]} together" if len(g) > 1 else g[0] for g in groups]
    return ", then ".join(said)


class Speaker:
    """Says a measure's numbers and sentences.

    Parameters
    ----------
    measure : Measure
    height_m : float or None
        The hitter's height, for lengths beside shares of it; None: they are left out. [m]
    units : {"metric", "imperial"}
    """

    def __init__(self, measure: Measure, height_m: float | None, units: Units) -> None:
        self.measure, self.words = measure, wording(measure.name, measure.label)
        self.scale = scale_of(measure.unit, units)
        self.length = length_scale(units) if measure.unit == "height" and height_m else None
        self._height_m = height_m or 1.0

    def good(self, low: float, high: float) -> str:
        """The sentence of a value inside the band that is good."""
        says, value = self._says(0), self._value
        one = high if math.isinf(low) else low
        if not math.isinf(low) and not math.isinf(high):
            return f"{says}, within the {self.band(low, high)} that is good."
        if self.words.directed and value * one < 0:
            return f"{says}, on the good side of {self._edge(one)}."
        below = math.isinf(low) != (self.words.directed and one < 0)  # more closed is less open
        return f"{says}, no {'more' if below else 'less'} than the {self._edge(one)} that is good."

    def missed(self, edge: float, verdict: str) -> str:
        """The sentence of a value beyond an edge: of the near band if it is `off`, of the good one if it is `near`."""
        value, finer = self._value, 0
        for finer in range(FINER + 1):
            digits = self.scale.digits(self.measure.sd) + finer
            if self.scale.shown(value, digits) != self.scale.shown(edge, self._edge_digits(edge, finer)):
                break
        miss = self._miss(edge, finer)
        if self.words.directed and value * edge <= 0:
            how = f"{miss} {'past' if value > edge else 'short of'}"
        else:
            more = abs(value) > abs(edge) if self.words.directed else value > edge
            how = f"{miss} {'more' if more else 'less'} than"
        ending = "that is still near." if verdict == "off" else "that is good, and still near."
        limit = self._edge(edge, finer, length_digits=self._length_digits + finer)
        return f"{self._says(finer)}, {how} the {limit} {ending}"

    def undecided(self, possible: Sequence[str], low: float, high: float, edges: list[float]) -> str:
        """The sentence of a value whose 95 % interval, from low to high, reaches over limits."""
        for finer in range(FINER + 1):
            digits = self.scale.digits(self.measure.sd) + finer
            shown = [self.scale.shown(v, max(digits, self.scale.places(v))) for v in (low, *sorted(edges), high)]
            if all(a < b for a, b in pairwise(shown)):
                break
        limits = " and ".join(self._edge(edge, finer) for edge in sorted(edges))
        return (
            f"{self._says(0)} and may be {_either(possible)}: the 95 % interval, {self.band(low, high, digits)}, holds"
            f" the limit{'s' if len(edges) > 1 else ''} of {limits}; {self.words.settle} can settle it."
        )

    def text(self, verdict: str, target: str) -> str:
        """The sentence of a text measure; `target` is a text that would be good."""
        says = self.words.says.format(spoken(str(self.measure.value)))
        match verdict:
            case "good":
                return f"{says}, which is good."
            case "near":
                return f"{says}, which is near; {spoken(target)} would be good."
            case _:
                return f"{says}; {spoken(target)} would be good."

    def undecided_text(self, shares: Mapping[Verdict, float]) -> str:
        """The sentence of a text measure whose draws do not agree; `shares` of the draws with each verdict."""
        says = self.words.says.format(spoken(str(self.measure.value)))
        # 94.9 % are not the 95 % that would decide it.
        digits = 1 if any(round(100 * share) >= 95 for share in shares.values()) else 0
        named = [f"{100 * share:.{digits}f} % {verdict}" for verdict, share in shares.items()]
        named[0] = named[0].replace("% ", "% are ")
        return (
            f"{says}, but may be {_either(list(shares))}: of the swings that could equally have been recorded"
            f" {', '.join(named[:-1])} and {named[-1]}; {self.words.settle} can settle it."
        )

    def missing(self) -> str:
        """The sentence of a measure without a value."""
        noun = self.words.noun
        return f"{noun[:1].upper()}{noun[1:]} cannot be measured, because {self.measure.why.rstrip('.')}."

    def band(self, low: float, high: float, digits: int = 0) -> str:
        """A band as it is said: ``"50 to 60 %"``, ``"25° closed to 25° open"``, ``"up to 10 cm"``."""
        if math.isinf(low):
            return f"up to {self._edge(high)}"
        if math.isinf(high):
            return f"at least {self._edge(low)}"
        if self.words.directed and low < 0 < high:
            return f"{self._edge(low, digits=digits)} to {self._edge(high, digits=digits)}"
        if self.words.directed and high <= 0:
            low, high = high, low
        places = [max(digits, self.scale.places(v)) for v in (low, high)]
        first = self.scale.number(abs(low) if self.words.directed else low, max(places))
        return self._put(f"{first} to {{}}", high, max(places), first=low)

    @property
    def _value(self) -> float:
        assert isinstance(self.measure.value, float)
        return self.measure.value

    @property
    def _length_digits(self) -> int:
        """Decimals of the value as a length."""
        sd = self.measure.sd
        return self.length.digits(None if sd is None else sd * self._height_m) if self.length else 0

    def _says(self, finer: int) -> str:
        """The sentence up to the number."""
        value, sd = self._plain(self._value), self.measure.sd
        shown = self.scale.quantity(value, sd, self.scale.digits(sd) + finer)
        if self.length:
            h = self._height_m
            shown += (
                f" ({self.length.quantity(value * h, None if sd is None else sd * h, self._length_digits + finer)})"
            )
        return self.words.says.format(self._form(self.words.forms, self._value).format(shown))

    def _edge(self, edge: float, finer: int = 0, *, digits: int = 0, length_digits: int | None = None) -> str:
        return self._put("{}", edge, max(self._edge_digits(edge, finer), digits), length_digits)

    def _edge_digits(self, edge: float, finer: int) -> int:
        """Decimals of a limit: those that show it exactly, else, in inches say, as many as the value has more."""
        places = self.scale.places(edge)
        exact = abs(self.scale.shown(edge, places) - edge / self.scale.size) < 1e-6
        return places if exact else self.scale.fewest + finer

    def _put(
        self, frame: str, edge: float, digits: int, length_digits: int | None = None, first: float | None = None
    ) -> str:
        """A limit, or the end of a band that begins at `first`, with its unit and direction."""
        shown = frame.format(self.scale.quantity(self._plain(edge), None, digits))
        if not edge and first is None:
            return shown
        if self.length:
            places = self.length.fewest if length_digits is None else length_digits
            length = self.length.quantity(self._plain(edge) * self._height_m, None, places)
            if first is not None:
                length = f"{self.length.number(self._plain(first) * self._height_m, places)} to {length}"
            shown += f" ({length})"
        return self._form(self.words.edges, edge).format(shown)

    def _miss(self, edge: float, finer: int) -> str:
        """Distance of the value from an edge, between the numbers as they are read, so that the sum comes out."""

        def between(scale: Scale, factor: float, digits: int, edge_digits: int) -> str:
            apart = abs(scale.shown(self._value * factor, digits) - scale.shown(edge * factor, edge_digits))
            return scale.number(apart * scale.size, max(digits, edge_digits))

        share = between(self.scale, 1.0, self.scale.digits(self.measure.sd) + finer, self._edge_digits(edge, finer))
        if not self.length:
            return f"{share}{self.scale.suffix}"
        places = self._length_digits + finer
        return f"{share} % ({between(self.length, self._height_m, places, places)}{self.length.suffix})"

    def _plain(self, value: float) -> float:
        return abs(value) if self.words.directed else value

    @staticmethod
    def _form(forms: tuple[str, str], value: float) -> str:
        return forms[0 if value >= 0 else 1]


def _either(words: Sequence[str]) -> str:
    return " or ".join((", ".join(words[:-1]), words[-1])) if len(words) > 1 else words[0]
