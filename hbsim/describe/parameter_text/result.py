"""What the reader of parameter texts gives back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ...errors import Refusal


@dataclass(frozen=True)
class Choices:
    """What a person says where a text can be read in two ways.

    Parameters
    ----------
    polarity : str or None
        "npn" or "pnp"; None: as the text says.
    bare_is_si : bool
        A value without a unit, in a table that has units elsewhere, is in SI units.
    column : str or None
        Head of the column wanted where a table has several ("typ").
    die : str or None
        Head of the column, or name of the list, of the transistor wanted where a text has several.
    area : float or None
        Factor by which the transistor is larger than what the values are for; 1 confirms that they are for the whole.
    decimal_comma : bool
        0,31 is 0.31.
    strict : bool
        Unknown names are refused.
    """

    polarity: str | None = None
    bare_is_si: bool = False
    column: str | None = None
    die: str | None = None
    area: float | None = None
    decimal_comma: bool = False
    strict: bool = False


class Undecided(Refusal):
    """A text that can be read in two ways, or a choice that it speaks against.

    Parameters
    ----------
    what, place, file : str
        As `Refusal` has them.
    choice : str
        The field of `Choices` that decides.
    values : sequence of str
        What it can be set to here; empty for one that is True or False.
    against : bool
        The choice was made, and the text speaks against it.
    """

    def __init__(self, what: str, choice: str, values: Sequence[str] = (), place: str = "", file: str = "",
                 against: bool = False) -> None:
        super().__init__(what, place, file)
        self.choice, self.values, self.against = choice, tuple(values), against

    def located(self, place: str = "", file: str = "") -> Undecided:
        """As `Refusal` has it."""
        found = super().located(place, file)
        return Undecided(found.what, self.choice, self.values, found.place, found.file, self.against)

    def of(self, name: str, place: str) -> Undecided:
        """The same, with what it is about put before it."""
        return Undecided(f"{name}: {self.what}", self.choice, self.values, place, self.file, self.against)


@dataclass(frozen=True)
class Parameter:
    """One value as understood.

    Parameters
    ----------
    name : str
        Canonical name; as printed where it is unknown.
    value : float or None
        In `unit`; None where the text gives words, or a name that is not read.
    unit : str
        One of `quantities.units()`; "" where not known.
    line : int
        Line of the text, from 1.
    text : str
        What stands there.
    written : str
        The unit or scale as written; "" if none.
    notes : tuple of str
        Footnotes and what was done to the number.
    """

    name: str
    value: float | None
    unit: str
    line: int
    text: str
    written: str = ""
    notes: tuple[str, ...] = ()

    @property
    def place(self) -> str:
        """For refusals and pages."""
        return f"line {self.line}"


@dataclass(frozen=True)
class Check:
    """A number computed from the set, by which a person sees whether the set is plausible; `key` is for plain data."""

    key: str
    meaning: str
    value: float
    unit: str


@dataclass(frozen=True)
class Parameters:
    """A text as understood.

    Parameters
    ----------
    file : str
        Name of the text file; "" for a text.
    polarity : str or None
        "npn" or "pnp"; None: neither the text nor the caller says.
    title : str
        Name that the text gives its list; "" if none.
    convention : str
        "list" or "table": which of the two customs of scales and units the text follows.
    values : dict
        Canonical name -> Parameter, in the order of the text: what the transistor model takes.
    package : dict
        The same of inductances and capacitances of a package: never mixed with the chip.
    unused, unknown, not_given : tuple of Parameter
        Known names that are not needed; names that are not known; names without a value.
    validity : tuple of str
        Lines that say where the set holds.
    checks : tuple of Check
    warnings, notes : tuple of str
        Sentences; notes say how the text was read.
    """

    file: str
    polarity: str | None
    title: str
    convention: str
    values: dict[str, Parameter]
    package: dict[str, Parameter] = field(default_factory=dict)
    unused: tuple[Parameter, ...] = ()
    unknown: tuple[Parameter, ...] = ()
    not_given: tuple[Parameter, ...] = ()
    validity: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
