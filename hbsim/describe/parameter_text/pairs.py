"""From the tokens of data lines to names with their values.

Names and values must alternate: a text copied column by column out of a PDF does not, and pairing it by order would
give wrong values.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from ...errors import Refusal
from .names import UNITS, canonical, is_known, misprint, unit_of
from .tokens import FIRST_COLUMN, INFINITE, LEGEND, NOT_GIVEN, Token
from .values import has_unit, reads_as

_ENDS = frozenset(("min", "max", "minimum", "maximum"))
_KINDS = ("A", "V", "ohm", "F", "s", "H", "eV", "deg", "K", "1")


@dataclass(frozen=True)
class Cell:
    """One printed value: the token ("" is a place left empty) and the unit after it."""

    text: str
    unit: str = ""


@dataclass
class Pair:
    """A name and what stands for its value, before any of it is read."""

    name: str
    line: int
    explicit: bool = False  # has a sign of equality
    head_unit: str = ""
    cells: list[Cell] = field(default_factory=list)
    columns: tuple[str, ...] = ()
    notes: list[str] = field(default_factory=list)
    marks: list[str] = field(default_factory=list)

    @property
    def place(self) -> str:
        """For refusals."""
        return f"line {self.line}"

    @property
    def shown(self) -> str:
        """What stands in the text."""
        values = " ".join(f"{cell.text or '-'} {cell.unit}".strip() for cell in self.cells)
        unit = f" ({self.head_unit})" if self.head_unit else ""
        return f"{self.name}{unit}{' = ' if self.explicit else ' '}{values}".rstrip()


@dataclass(frozen=True)
class DataLine:
    """Tokens of a line that holds names or values, and the heads of the columns that hold there."""

    tokens: tuple[Token, ...]
    columns: tuple[str, ...] = ()


def is_name(token: Token) -> bool:
    """Whether it has the form of a name."""
    return token.kind == "word" and bool(re.fullmatch(r"[^\W\d_]\w*", token.text))


def is_unit(token: Token, after: Token | None) -> bool:
    """Whether a word after a number is its unit and not the next name."""
    if token.kind != "word" or after is not None and after.kind == "equals":
        return False
    first, stroke, _ = token.text.partition("/")
    if stroke and first:  # per area, per length: a unit, if none that a value here may have
        return any(reads_as(first, kind) is not None for kind in _KINDS) or has_unit(first)
    exact = any(reads_as(token.text, kind) is not None for kind in _KINDS)
    if is_known(token.text) and len(token.text) > 1:
        return exact and not token.text.isupper() and not (after is not None and after.kind == "number")
    return exact or has_unit(token.text)


class Stream:
    """Takes the data lines one after the other; a value may stand on the line after its name."""

    def __init__(self, lines: Sequence[DataLine]) -> None:
        self.pairs: list[Pair] = []
        self.rows: list[int] = []
        self.rests: list[tuple[int, str]] = []  # what stands beside a table: line, text
        self.notes: list[str] = []
        self._lines = lines
        self._pending: Pair | None = None
        self._above: list[Pair] = []
        self._row: list[Pair] = []
        self._depth = 0
        for line in lines:
            self._take(line)
        if self._pending is not None:
            if not self._pending.explicit:
                raise self._not_alternating(self._pending.line)
            self._close([])

    def _take(self, line: DataLine) -> None:
        tokens = line.tokens
        self._above, self._row = self._row or self._above, []
        start = self._row_number(tokens)
        at = start
        while at < len(tokens):
            if self._pending is None:
                at = self._between(tokens, at)
            else:
                at = self._value(tokens, at, line.columns)

    def _row_number(self, tokens: Sequence[Token]) -> int:
        """How many tokens number the row; their footnotes are kept for the name."""
        self._row_marks: list[str] = []
        if self.rows and self._pending is not None and len(tokens) > 1 and tokens[0].is_count and is_name(tokens[1]):
            raise Refusal(f"{self._pending.name} has no value, as {tokens[0].text} here numbers the row; write - where "
                          "there is none", tokens[0].place)
        if self._pending is not None or not tokens or not tokens[0].is_count:
            return 0
        at = 1
        while at < len(tokens) and (tokens[at].kind == "bracketed" or tokens[at].text == ")"):
            if tokens[at].kind == "bracketed":
                self._row_marks.append(tokens[at].inner)
            at += 1
        if at < len(tokens) and is_name(tokens[at]) and is_known(tokens[at].text):
            self.rows.append(int(tokens[0].text.rstrip(".")))
            return at
        return 0

    def _between(self, tokens: Sequence[Token], at: int) -> int:
        """Where a name is expected."""
        token, after = tokens[at], tokens[at + 1] if at + 1 < len(tokens) else None
        if is_name(token):
            if after is not None and after.kind == "word" and canonical(token.text + after.text) in UNITS \
                    and not is_unit(after, None):
                raise Refusal(f"'{token.text} {after.text}' looks like {token.upper}{after.upper} torn apart; write "
                              "it as one name", token.place)
            spoilt = misprint(token.text)
            if spoilt and not is_known(token.text):
                raise Refusal(f"'{token.text}' looks like {spoilt} with a wrong letter; write {spoilt}", token.place)
            explicit = after is not None and after.kind == "equals"
            if explicit or is_known(token.text) or after is not None and after.kind == "number" and \
                    token.text.isupper():
                self._pending = Pair(token.text, token.line, explicit, marks=self._row_marks)
                self._row_marks = []
                return at + (2 if explicit else 1)
        if token.kind == "word":
            return self._rest(tokens, at)
        if token.kind == "number":
            return self._stray(tokens, at)
        if token.kind == "bracketed" and self._row:
            self._refuse_limit(token.inner, token)
            self._row[-1].marks.append(token.inner)
        elif token.kind == "mark" and self._row:
            self._row[-1].notes.append(f"marked {token.text}")
        elif token.kind == "tolerance" and self._row:
            self._row[-1].notes.append(f"printed with {token.text}")
        elif token.kind == "expression":
            raise Refusal(f"'{token.text}' is an expression; write the number that it gives", token.place)
        elif token.kind in ("other", "equals"):
            raise Refusal(f"'{token.text}' stands where a name is expected; write name, value and unit", token.place)
        self._depth += {"(": 1, ")": -1}.get(token.text, 0)
        return at + 1

    def _rest(self, tokens: Sequence[Token], at: int) -> int:
        """Words after the last pair of a line: a legend beside the table, if no number is among them."""
        rest = tokens[at:]
        if any(token.kind in ("number", "equals", "expression") for token in rest) or has_unit(rest[0].text):
            raise Refusal(f"'{rest[0].text}' is neither a name nor a unit known here; keep names, values and units "
                          "only", rest[0].place)
        self._refuse_limit(rest[0].text, rest[0])
        text = " ".join(token.text for token in rest)
        last = self._row[-1] if self._row else None
        bare = last is not None and unit_of(canonical(last.name)) not in ("", "1") and not last.head_unit and \
            last.cells and last.cells[-1].text and not last.cells[-1].unit and last.cells[-1].text[-1].isdigit()
        if bare and not LEGEND.match(text) and not FIRST_COLUMN.fullmatch(rest[0].text):
            raise Refusal(f"'{text}' after {last.shown} is no unit known here; write the unit, or take it away",
                          rest[0].place)
        self.rests.append((rest[0].line, text))
        return len(tokens)

    def _refuse_limit(self, word: str, token: Token) -> None:
        if self._row and word.lower().rstrip(".") in _ENDS:
            raise Refusal(f"'{self._row[-1].shown} {token.text}' is a limit, not a value of this transistor; write the "
                          f"value that is meant without '{token.text}'", token.place)

    def _stray(self, tokens: Sequence[Token], at: int) -> int:
        token = tokens[at]
        closing = at + 1 < len(tokens) and tokens[at + 1].text == ")" and tokens[at + 1].start == token.end
        if token.is_count and closing and self._row and self._depth <= 0:
            self._row[-1].marks.append(token.text)
            return at + 2
        if self._row:
            last = self._row[-1]
            raise Refusal(f"{last.name} has more than one value ({last.shown}, {token.text}) and no heads say which is "
                          "which; keep one, or put heads like min typ max above", token.place)
        if len(tokens) == 1 and token.is_count and self.pairs and all(pair.explicit for pair in self.pairs):
            self.notes.append(f"line {token.line}: '{token.text}' alone is taken for the number of a page")
            return at + 1
        raise self._not_alternating(token.line)

    def _value(self, tokens: Sequence[Token], at: int, columns: tuple[str, ...]) -> int:
        """Where a value is expected."""
        pair, token = self._pending, tokens[at]
        assert pair is not None
        if token.kind == "equals" and not pair.explicit:
            pair.explicit = True
            return at + 1
        if token.kind == "bracketed" and not (token.holds_digits and self._ends(tokens, at)):
            if token.holds_digits:
                pair.marks.append(token.inner)
            else:
                pair.head_unit = token.inner
            return at + 1
        if token.kind == "mark" or token.kind == "separator":
            self._depth += {"(": 1, ")": -1}.get(token.text, 0)
            if token.text == ")" and self._depth <= 0 or token.text == "'":
                self._close([])
            return at + 1
        if token.kind == "expression":
            raise Refusal(f"'{token.text}' is an expression; write the number that it gives for {pair.name}",
                          token.place)
        if token.kind == "other" or token.kind == "tolerance":
            raise Refusal(f"'{token.text}' before the value of {pair.name} makes it a rough one, or a sign was lost; "
                          "write the number alone", token.place)
        if token.kind == "equals":
            raise Refusal(f"two signs of equality after {pair.name}; write one and a number", token.place)
        if token.kind == "word" and token.upper not in INFINITE | NOT_GIVEN:
            return self._word(pair, tokens, at)
        at = self._cells(pair, tokens, at, columns)
        return at

    @staticmethod
    def _ends(tokens: Sequence[Token], at: int) -> bool:
        """Whether a number in brackets is all the value there is: BF = (112)."""
        return at + 1 == len(tokens) and at > 0 and tokens[at - 1].kind == "equals"

    def _word(self, pair: Pair, tokens: Sequence[Token], at: int) -> int:
        token, after = tokens[at], tokens[at + 1] if at + 1 < len(tokens) else None
        names_next = after is not None and after.kind == "equals"
        if pair.explicit and names_next and is_name(token):
            self._close([])
            return at
        if pair.explicit and not unit_of(canonical(pair.name)):
            self._close([Cell(token.text)])
            return at + 1
        if is_known(token.text) or names_next:
            if token.line == pair.line and canonical(pair.name + token.text) in UNITS:
                raise Refusal(f"'{pair.name} {token.text}' looks like {canonical(pair.name + token.text)} torn apart; "
                              "write it as one name", token.place)
            raise self._not_alternating(pair.line)
        raise Refusal(f"'{token.text}' stands where the value of {pair.name} is expected; this reads lists and tables, "
                      "so keep name, value and unit only", token.place)

    def _cells(self, pair: Pair, tokens: Sequence[Token], at: int, columns: tuple[str, ...]) -> int:
        several = len(columns) > 1
        cells: list[Cell] = []
        while at < len(tokens) and len(cells) < max(len(columns), 1):
            token, after = tokens[at], tokens[at + 1] if at + 1 < len(tokens) else None
            if token.kind == "number" or token.kind == "bracketed" and not cells:
                cells.append(Cell(token.inner))
                at = self._unit(cells, tokens, at + 1, dash=len(cells) >= len(columns))
            elif token.kind == "dash" and not several and after is not None and after.kind == "number" and not cells:
                if token.text != "-" or after.text[0] in "+-":
                    raise Refusal(f"'{token.text} {after.text}' has two signs before the value of {pair.name}; write "
                                  "one", token.place)
                cells.append(Cell(f"-{after.text}"))
                at = self._unit(cells, tokens, at + 2)
            elif token.kind == "dash" or token.kind == "word" and token.upper in NOT_GIVEN:
                cells.append(Cell(""))
                at += 1
                if len(cells) >= len(columns):
                    at = self._unit(cells, tokens, at)
            elif token.kind == "word" and token.upper in INFINITE:
                cells.append(Cell("inf"))
                at = self._unit(cells, tokens, at + 1)
            elif token.kind == "tolerance":
                pair.notes.append(f"printed with {token.text}")
                at += 1
            else:
                break
        if not cells:
            raise Refusal(f"'{tokens[at].text}' stands where the value of {pair.name} is expected", tokens[at].place)
        pair.columns = columns if several else ()
        self._no_range(pair, cells, tokens, at)
        self._close(cells)
        return at

    def _unit(self, cells: list[Cell], tokens: Sequence[Token], at: int, dash: bool = True) -> int:
        """The unit after a value, if there is one; a dash may stand for none, or for the value of the next column."""
        if at >= len(tokens):
            return at
        token, after = tokens[at], tokens[at + 1] if at + 1 < len(tokens) else None
        unit = ""
        if token.text in (",", ";", "|") and after is not None:  # columns with signs between them
            last = tokens[at + 2] if at + 2 < len(tokens) else None
            if is_unit(after, last) or after.kind == "dash" and (last is None or last.kind not in ("number", "dash")):
                return self._unit(cells, tokens, at + 1, dash)
        if is_unit(token, after) or self._odd_unit(token, after):
            unit = token.text
        elif token.kind == "dash" and dash and (after is None or after.kind not in ("number", "dash")):
            unit = "-"
        elif token.kind == "other" and not token.text.isascii():
            unit = token.text
        elif token.kind == "other" and token.text == "%":
            unit = "%"
        elif token.kind == "bracketed" and not token.holds_digits and has_unit(token.inner):
            unit = token.inner
        elif token.kind == "ditto":
            place = len(self._row)
            if place >= len(self._above) or not self._above[place].cells or not self._above[place].cells[-1].unit:
                raise Refusal("a ditto mark with no unit above it; write the unit", token.place)
            unit = self._above[place].cells[-1].unit
        if not unit:
            return at
        cells[-1] = replace(cells[-1], unit=unit)
        return at + 1

    def _odd_unit(self, token: Token, after: Token | None) -> bool:
        """After a value whose name is not read, any word that is no name is its unit."""
        return self._pending is not None and not is_known(self._pending.name) and token.kind == "word" \
            and not is_known(token.text) and (after is None or after.kind not in ("equals", "number"))

    @staticmethod
    def _no_range(pair: Pair, cells: list[Cell], tokens: Sequence[Token], at: int) -> None:
        if at + 1 < len(tokens) and tokens[at + 1].kind == "number" and (
                tokens[at].text.lower() in ("to", "and", "or", "through") or tokens[at].kind in ("dash", "other")):
            raise Refusal(f"{pair.name} {cells[-1].text} {tokens[at].text} {tokens[at + 1].text} is a range; write the "
                          "one value that is meant", tokens[at].place)

    def _close(self, cells: list[Cell]) -> None:
        pair = self._pending
        assert pair is not None
        pair.cells = cells
        self.pairs.append(pair)
        self._row.append(pair)
        self._pending = None

    def _not_alternating(self, line: int) -> Refusal:
        """Counts the first run of names and of values that is not one and one."""
        kinds = ["name" if is_name(token) and is_known(token.text) else "value"
                 for data in self._lines for token in data.tokens
                 if token.kind == "number" or is_name(token) and is_known(token.text)]
        at = names = values = 0
        while at < len(kinds):
            names = values = 0
            while at < len(kinds) and kinds[at] == "name":
                names, at = names + 1, at + 1
            while at < len(kinds) and kinds[at] == "value":
                values, at = values + 1, at + 1
            if (names, values) != (1, 1):
                break
        counted = f"{names} name{'s' * (names != 1)} before the first value, then {values} value" + "s" * (values != 1)
        return Refusal(f"names and values do not alternate ({counted}): use the table view of the PDF, or retype; "
                       "put - for an empty value", f"line {line}")
