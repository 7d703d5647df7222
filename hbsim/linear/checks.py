"""Checks that a part makes of its own fields, whether told in a file or in Python."""

from __future__ import annotations

from dataclasses import fields
from functools import lru_cache
from typing import Any

from ..errors import Refusal
from ..quantities import Quantity, quantities


@lru_cache(maxsize=None)
def _specified(cls: type) -> tuple[tuple[str, Quantity, bool], ...]:
    optional = {item.name for item in fields(cls) if item.default is None}
    return tuple((name, spec, name in optional) for name, spec in quantities(cls).items())


class Checked:
    """A dataclass whose quantity fields are held to their limits when it is made.

    Raises
    ------
    Refusal
        A quantity outside its physical range, not a number, or infinite; `place` is the field's name.
    """

    def __post_init__(self) -> None:
        for name, spec, optional in _specified(type(self)):
            value = getattr(self, name)
            if value is None and optional:
                continue
            spec.check(value, name)


def refuse_without(part: Any, name: str, companion: str) -> None:
    """Refuse a field that says nothing without another one (a quality factor without its frequency)."""
    if getattr(part, name) is not None and getattr(part, companion) is None:
        raise Refusal(f"missing: '{name}' needs it; add '{companion}'", companion)


def refuse_together(part: Any, first: str, second: str) -> None:
    """Refuse two fields that say the same thing in two ways."""
    if getattr(part, first) is not None and getattr(part, second) is not None:
        raise Refusal(f"both '{first}' and '{second}' are given; take one of them out", second)
