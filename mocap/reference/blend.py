"""Parameters between two sets of parameters."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

T = TypeVar("T")


def blend(first: T, second: T, share: float) -> T:
    """Every number of two sets of parameters mixed.

    Parameters
    ----------
    first, second : dataclass
        Of the same type, holding numbers, tuples of numbers and such dataclasses.
    share : float
        Of `second`: 0 gives `first`, 1 gives `second`. [-]

    Returns
    -------
    dataclass
        Of the same type.
    """

    def mixed(a: Any, b: Any) -> Any:
        if is_dataclass(a):
            return type(a)(**{f.name: mixed(getattr(a, f.name), getattr(b, f.name)) for f in fields(a)})  # type: ignore[misc]
        if isinstance(a, tuple):
            return tuple(mixed(x, y) for x, y in zip(a, b, strict=True))
        return (1.0 - share) * a + share * b

    result: T = mixed(first, second)
    return result
