"""Which lines hold data, which are heads, legends and notes, and which say nothing about the parameters."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from ...errors import Refusal, nearest
from .names import FACTORS, OF_A_DIODE, RATIOS, UNITS, canonical, is_known, is_package, misprint
from .pairs import DataLine, Pair, Stream, is_name, is_unit
from .result import Choices, Undecided
from .text import Line
from .tokens import FIRST_COLUMN, LEGEND, Token, tokens_of
from .values import reads_as

_HEAD = re.compile(r"(\.?)\s*model\s+(\S+)\s+([A-Za-z]+)\b", re.IGNORECASE)
_SHORT_HEAD = re.compile(r"(\S+)\s+(NPN|PNP)\s*\(", re.IGNORECASE)
_LIMITS = ("min", "typ", "max", "minimum", "typical", "maximum", "nom", "nominal")
_COLUMN = re.compile(r"(?=[^\W_]*\d)[^\W_][\w-]*|die\w*|chip\w+", re.IGNORECASE)
_RANGE = re.compile(r"(?<![\d.])[\d.]{1,20}\s*[A-Za-zμΩ°]*\s+(?:to|\.\.+)\s+[\d.]+")
_PROSE = re.compile(r"\b([A-Z][A-Z0-9]+)\s+(?:is|of|equals|was)\s+(?:about\s+)?[-+.\d]")
_FACTOR = re.compile(r"(?:multipl\w*|scal\w*|area)\b[^.\n]*?\b(?:by|of|factor)\s+(\d+(?:\.\d+)?)", re.IGNORECASE)
_LEGEND_UNITS = {"capacitance": "F", "resistance": "ohm", "voltage": "V", "current": "A", "time": "s",
                 "inductance": "H"}
_NOTE = re.compile(r"\s*[(\[]?(\d{1,2})[)\].]+\s*(\D.*)")
NOTHING = "no Gummel-Poon parameter found; the table of the parameters is wanted, with names such as IS, BF, CJE"
_OF_PAGES = frozenset("PAGE REV REVISION DATE ISSUE VERSION TABLE FIG FIGURE NOTE SHEET FREQUENCY BIAS".split())


@dataclass
class Layout:
    """What a text holds, before a number is read."""

    pairs: list[Pair] = field(default_factory=list)
    title: str = ""
    polarity: str | None = None  # of the head of a list
    hints: set[str] = field(default_factory=set)  # polarities named elsewhere
    is_list: bool = False
    legend: list[tuple[int, str, str]] = field(default_factory=list)  # line, unit of a quantity, unit as written
    footnotes: dict[str, str] = field(default_factory=dict)
    validity: list[str] = field(default_factory=list)
    factors: list[tuple[int, str, str]] = field(default_factory=list)  # line, factor, sentence
    rows: list[int] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def lay_out(lines: Sequence[Line], choices: Choices) -> Layout:
    """Find names with their values.

    Raises
    ------
    Refusal
        Several transistors and none chosen, names and values that do not alternate, prose, expressions.
    """
    found = Layout()
    lines = _chosen_list(lines, choices, found)
    cut = [(line, _without_comment(tokens_of(line.text, line.number), line)) for line in lines]
    data: list[DataLine] = []
    columns: tuple[str, ...] = ()
    at = 0
    while at < len(cut):
        line, tokens = cut[at]
        found.is_list |= line.goes_on
        flat, used = _lying_table(cut, at)
        if used:
            data += flat
            at += used
            continue
        start = _data_from(tokens, bool(data))
        if start is None:
            _refuse_torn(tokens)
            columns = _heads(tokens) or columns
            if len(columns) == 1 and columns[0] not in _LIMITS:
                _refuse_another(columns[0], choices, line)
            if len(tokens) > 1 and is_name(tokens[0]) and tokens[1].kind == "number" and \
                    tokens[0].upper not in _OF_PAGES:
                found.notes.append(f"line {line.number} is taken for words, not for a parameter: '{line.text}'")
            _text(line, found)
        else:
            if not any(token.kind == "equals" for token in tokens):
                _refuse_prose(line)
            data.append(DataLine(tuple(tokens[start:]), columns))
        at += 1
    if not any(is_name(token) and (_read(token.text) or misprint(token.text) or not token.text.isascii())
               for line in data for token in line.tokens):
        raise Refusal(NOTHING)
    stream = Stream(data)
    found.pairs, found.rows = stream.pairs, stream.rows
    found.notes += stream.notes
    for number, text in stream.rests:
        before = len(found.legend)
        _legend(number, text, found)
        if len(found.legend) == before:
            found.notes.append(f"line {number}: '{text}' beside the values is not read")
    return found


def _chosen_list(lines: Sequence[Line], choices: Choices, found: Layout) -> list[Line]:
    """The lines of the list wanted, its head read and cut off; all lines where no list has a head."""
    heads = []
    for at, line in enumerate(lines):
        match = _HEAD.match(line.text)
        if match and (match[1] or match[3].upper() in ("NPN", "PNP")):
            heads.append((at, match[2], match[3].lower(), match.end()))
        elif match := _SHORT_HEAD.match(line.text):
            heads.append((at, match[1], match[2].lower(), match.end(2)))
    if not heads:
        return list(lines)
    names = [name for _, name, _, _ in heads]
    which = 0
    if len(heads) > 1:
        wanted = [n for n, name in enumerate(names) if choices.die and name.lower() == choices.die.lower()]
        if len(wanted) != 1:
            raise Undecided(f"the text has {len(heads)} lists ({', '.join(names)}); keep one, or say which transistor "
                            "is meant", "die", names, lines[heads[0][0]].place)
        which = wanted[0]
    at, found.title, kind, end = heads[which]
    _refuse_another(found.title, choices, lines[at])
    if kind not in ("npn", "pnp"):
        raise Refusal(f"'{found.title}' is a list of kind '{kind}', not of an NPN or PNP transistor",
                      lines[at].place)
    found.polarity, found.is_list = kind, True
    first = lines[at]
    last = heads[which + 1][0] if which + 1 < len(heads) else len(lines)
    before = [line for line in lines[:heads[0][0]] if len(heads) == 1]
    rest = first.text[end:].strip()
    return [*before, *([Line(first.number, rest)] if rest else []), *lines[at + 1:last]]


def _refuse_another(name: str, choices: Choices, line: Line) -> None:
    if choices.die and name.lower() != choices.die.lower():
        raise Undecided(f"the text is of '{name}', and '{choices.die}' is wanted; leave the wish out if it is meant",
                        "die", place=line.place, against=True)


def _without_comment(tokens: list[Token], line: Line) -> list[Token]:
    """Tokens up to a ';' that starts a comment; one between data separates."""
    marks = [n for n, token in enumerate(tokens) if token.text == ";"]
    if not marks:
        return tokens
    first = marks[0]
    rest = tokens[first + 1:]
    if not all(_is_data(token, rest[n + 1] if n + 1 < len(rest) else None) for n, token in enumerate(rest)):
        return tokens[:first]
    spaced = first > 0 and tokens[first - 1].end < tokens[first].start
    both = any(token.kind == "number" for token in rest) and any(is_name(token) for token in rest) \
        and any(token.kind == "number" for token in tokens[:first])
    if spaced and both:
        raise Refusal("what stands after ';' can be a comment or go on with the list; write a comma, or take it away",
                      line.place)
    return tokens


def _is_data(token: Token, after: Token | None) -> bool:
    if token.kind != "word":
        return True
    return is_known(token.text) or is_unit(token, after) or after is not None and after.kind == "equals"


def _data_from(tokens: Sequence[Token], begun: bool) -> int | None:
    """Where the data of a line start; None: a line of text."""
    skipped = next((n for n, token in enumerate(tokens) if token.kind != "separator"), None)
    if skipped is None:
        return 0 if tokens and begun else None
    tokens = tokens[skipped:]
    first, second = tokens[0], tokens[1] if len(tokens) > 1 else None
    for at, token in enumerate(tokens[:-1]):
        if is_name(token) and tokens[at + 1].kind == "equals" and _read(token.text):
            return 0 if at == 0 or _opens(first, second) else skipped + at
    if is_name(first) and _opens(first, second):
        return 0
    if first.is_count:
        after = [token for token in tokens[1:4] if token.kind != "bracketed" and token.text != ")"]
        if after and is_name(after[0]) and is_known(after[0].text):
            return 0
    bare = all(token.kind in ("number", "dash", "separator", "mark", "bracketed", "tolerance", "ditto", "expression")
               or is_unit(token, None) or token.text.upper() in ("INF", "∞", "N/A") for token in tokens)
    if begun and bare and any(token.kind in ("number", "expression", "word", "dash") for token in tokens):
        return 0
    return None


def _read(name: str) -> bool:
    """Whether a name is one whose value is read, or refused."""
    name = canonical(name)
    return name in UNITS or name in RATIOS or name in FACTORS or name in OF_A_DIODE or is_package(name)


def _opens(first: Token, second: Token | None) -> bool:
    """Whether a line that begins with these holds data."""
    if not is_name(first):
        return False
    if second is None:
        return is_known(first.text) and (len(first.text) > 1)
    if is_known(first.text):
        if second.kind == "word":  # the English word "is" begins sentences
            return is_known(second.text) or second.upper in ("INF", "INFINITE", "N/A", "NA", "∞") or \
                first.text.isupper()
        return True
    if first.upper in _OF_PAGES:
        return False
    if misprint(first.text) and second.kind == "number":
        return True
    return second.kind == "equals" or second.kind == "number" and first.text.isupper()


def _lying_table(cut: Sequence[tuple[Line, list[Token]]], at: int) -> tuple[list[DataLine], int]:
    """A row of names, perhaps a row of units, a row of as many values: as lines of data, and how many rows it took."""
    names = [token for token in cut[at][1] if token.kind != "separator"]
    if len(names) < 2 or not all(is_name(token) and is_known(token.text) for token in names):
        return [], 0
    rows = [[token for token in tokens if token.kind != "separator"] for _, tokens in cut[at + 1:at + 3]]
    units: list[Token] = []
    if len(rows) == 2 and len(rows[0]) == len(names) and all(
            token.kind in ("dash", "bracketed") or is_unit(token, None) for token in rows[0]):
        units = rows.pop(0)
    if not rows or len(rows[0]) != len(names) or not all(token.kind in ("number", "dash") for token in rows[0]):
        return [], 0
    flat = []
    for n, (name, value) in enumerate(zip(names, rows[0])):
        unit = (units[n],) if units else ()
        flat.append(DataLine((name, value, *unit)))
    return flat, 2 + bool(units)


def _heads(tokens: Sequence[Token]) -> tuple[str, ...]:
    """Heads of the columns of values, where a line of text is the head of a table."""
    if any(token.kind in ("number", "equals", "expression") for token in tokens):
        return ()
    words = [token.text for token in tokens if token.kind == "word"]
    limits = tuple(word.lower().rstrip(".") for word in words if word.lower().rstrip(".") in _LIMITS)
    if limits:
        return limits
    groups: list[list[str]] = []
    for word in words:
        if FIRST_COLUMN.fullmatch(word):
            groups.append([])
        elif groups and _COLUMN.fullmatch(word):
            groups[-1].append(word)
    widest = max(groups, key=len, default=[])
    return tuple(widest)


def _text(line: Line, found: Layout) -> None:
    """What a line of text says about the parameters."""
    _refuse_prose(line)
    text = line.text
    found.hints |= {word.lower() for word in re.findall(r"\b(?:NPN|PNP)\b", text, re.IGNORECASE)}
    if note := _NOTE.match(text):
        found.footnotes[note[1]] = note[2].strip()
    if _RANGE.search(text) or re.match(r"valid\b|range\b", text, re.IGNORECASE):
        found.validity.append(f"line {line.number}: {text}")
    if factor := _FACTOR.search(text):
        found.factors.append((line.number, factor[1], text))
    _legend(line.number, text, found)


def _legend(number: int, text: str, found: Layout) -> None:
    """A scaled unit counts only where it is said to be one: 'capacitances in fF'."""
    for quantity, said, unit in LEGEND.findall(text):
        kind, unit = _LEGEND_UNITS[quantity.lower()], unit.rstrip(".,;:")
        if said or reads_as(unit, kind) == 1:
            found.legend.append((number, kind, unit))


def _refuse_prose(line: Line) -> None:
    match = _PROSE.search(line.text)
    if match and canonical(match[1]) in UNITS:
        raise Refusal(f"'{match[0]}...' is a sentence, not a list; write {match[1]} = value unit", line.place)


def _refuse_torn(tokens: Sequence[Token]) -> None:
    """Refuse 'I S = 0.31f', which would pass for words."""
    for first, second, third in zip(tokens, tokens[1:], tokens[2:]):
        if third.kind in ("equals", "number") and is_name(first) and is_name(second) and first.text.isupper() and \
                second.text.isupper() and canonical(first.text + second.text) in UNITS:
            raise Refusal(f"'{first.text} {second.text}' looks like {first.text}{second.text} torn apart; write it as "
                          "one name", first.place)


def choose_column(pair: Pair, choices: Choices) -> int:
    """Number of the cell wanted.

    Raises
    ------
    Refusal
        Several columns and none chosen, or fewer values than heads.
    """
    if not pair.columns:
        return 0
    heads = pair.columns
    limits = heads[0] in _LIMITS
    wanted, what = (choices.column, "column") if limits else (choices.die, "transistor")
    found = [n for n, head in enumerate(heads) if wanted and (
        head.lower() == wanted.lower() or limits and head[:3] == wanted.lower()[:3])]
    if len(found) != 1:
        why = f"; there is no '{wanted}'{nearest(wanted, heads)}" if wanted else ""
        raise Undecided(f"'{pair.shown}': the table has the columns {', '.join(heads)}; say which {what} is wanted"
                        f"{why}", "column" if limits else "die", heads, pair.place)
    if len(pair.cells) != len(heads):
        raise Refusal(f"'{pair.shown}': {len(pair.cells)} values under {len(heads)} heads ({', '.join(heads)}); put - "
                      "where a column is empty", pair.place)
    return found[0]
