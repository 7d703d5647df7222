"""Which lines are the table: every delimiter is tried; two ways to cut it, or several tables, are refused."""

from __future__ import annotations

from collections.abc import Sequence

from ..errors import Refusal
from .cells import looks_numeric
from .headers import find_header
from .layout import NAMES, Table, candidates, find_runs, split, tables
from .mapping import Mapping
from .names import Name
from .numerals import Raw, describe
from .text import Text


def choose(text: Text, kinds: bytearray, spans: list[tuple[int, int]], mapping: Mapping) -> Table | None:
    """The table of a file; None if there are no rows of numbers.

    Raises
    ------
    Refusal
        Two delimiters make two different tables, or the file has several and [table] does not say which.
    """
    delimiters = [mapping.delimiter] if mapping.delimiter is not None else candidates(text, kinds, spans)
    found: dict[str, list[Table]] = {}
    for delimiter in delimiters:
        parts = [part for table in tables(find_runs(text.lines, kinds, spans, delimiter), delimiter)
                 for part in _by_names(text, kinds, table)]
        parts = [part for part in parts if part.score]
        if parts:
            found[delimiter] = parts
    if len(found) > 1:
        found.pop("", None)
    if not found:
        return None
    best = {delimiter: max(parts, key=_rank) for delimiter, parts in found.items()}
    delimiter = max(best, key=lambda d: _rank(best[d]))
    _check_only(text, best, delimiter)
    return _one(text, found[delimiter], best[delimiter], mapping)


def _rank(table: Table) -> tuple[int, int]:
    texts = any(kind is False for run in table.runs for kind in run.kinds)
    return table.score * (1 if texts else 2), table.width


def _check_only(text: Text, best: dict[str, Table], chosen: str) -> None:
    """Refuse where another delimiter cuts the same lines into numbers alone, too ("1 200<tab>5")."""
    ours = best[chosen]
    for delimiter, other in best.items():
        if delimiter == chosen or {delimiter, chosen} != {" ", "\t"} and " " not in (delimiter, chosen):
            continue
        if other.rows[0] != ours.rows[0] or other.width == ours.width or not (_numbers(other) and _numbers(ours)):
            continue
        line = text.lines[ours.rows[0]]
        ways = [f"{' | '.join(split(line, d))} (delimiter {NAMES[d]})" for d in (chosen, delimiter)]
        words = [{" ": "blanks", "\t": "tab"}.get(d, d) for d in (chosen, delimiter)]
        raise Refusal(f"'{line.strip()}' can be read as {ways[0]} or as {ways[1]}; say which in [table]: delimiter = "
                      f'"{words[0]}" or "{words[1]}"', f"line {ours.rows[0] + 1}", text.file)


def _numbers(table: Table) -> bool:
    return all(kind is not False for run in table.runs for kind in run.kinds)


def _by_names(text: Text, kinds: bytearray, table: Table) -> list[Table]:
    """A table cut where new names of columns begin."""
    if len(table.runs) == 1:
        return [table]
    parts, names = [Table(table.delimiter, [table.runs[0]])], None
    for run in table.runs[1:]:
        if run.after:
            if names is None:
                names = find_header(text, kinds, parts[-1]).names
            new = find_header(text, kinds, Table(table.delimiter, [run])).names
            if new and new != names:
                parts.append(Table(table.delimiter, [run]))
                names = new
                continue
        parts[-1].runs.append(run)
    return parts


def _one(text: Text, parts: Sequence[Table], best: Table, mapping: Mapping) -> Table:
    real = [part for part in parts if part is best or _is_real(part)]
    if mapping.table is not None and len(real) > 1:
        if not 1 <= mapping.table <= len(real):
            raise Refusal(f"there are {len(real)} tables, no table {mapping.table}", "", text.file)
        return real[mapping.table - 1]
    if len(real) > 1:
        listed = "; ".join(f"{number}: {describe(part)}" for number, part in enumerate(real, 1))
        raise Refusal(f"the file has {len(real)} tables ({listed}); say which in [table]: table = 1", "", text.file)
    return best


def _is_real(table: Table) -> bool:
    numeric = sum(kind is True for kind in table.runs[0].kinds)
    return len(table.rows) > 1 and table.runs[0].kinds[0] is not False and numeric > 1


def side_by_side(raws: Sequence[Raw], names: Sequence[Name]) -> list[tuple[int, int]]:
    """The spans of columns of tables that stand side by side with an empty column without a name between."""
    gaps = [k for k, raw in enumerate(raws) if raw.empty and not (k < len(names) and names[k].text)]
    edges = [-1, *gaps, len(raws)]
    return [(a + 1, b) for a, b in zip(edges, edges[1:], strict=False) if b > a + 1] or [(0, len(raws))]


def looks_transposed(text: Text, table: Table, header: Sequence[str]) -> bool:
    """Whether each row starts with a word and goes on with numbers, with no names above."""
    run = table.runs[0]
    return (not header and run.kinds[0] is False and len(run.kinds) > 2
            and all(kind is not False for kind in run.kinds[1:])
            and len({split(text.lines[row], table.delimiter)[0] for row in table.rows}) == len(table.rows)
            and not any(looks_numeric(split(text.lines[row], table.delimiter)[0]) for row in table.rows))
