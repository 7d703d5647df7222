"""Page of text of `hbsim fit`: what was found, how sure it is, what the data cannot tell, and how the data look now."""

from __future__ import annotations

import math

from ..bench.dataset import DRIVE_ERROR, OUTPUT_ERROR
from ..bench.fit import Fit
from ..bench.judged import Direction, close_pairs
from ..bench.unknowns import Unknown
from .compare_page import about_lines, comparison_lines, meanings
from .report import CAUTION
from .text import listed, table, wrapped

_DIGITS, _MOST_DIGITS = 4, 9
_MOST_CORRELATED = 6
_FITS = 1.3  # scatter up to which residuals are as large as uncertainties say: 2 sigma for 20 degrees of freedom


def fit_page(title: str, found: Fit) -> str:
    """The readable page of a fit."""
    count = sum(len(item.measured) for item in found.sets) - len(found.left_out)
    limits = sum(int((item.limit != 0).sum()) for item in found.sets)
    held = f" ({limits} are limits)" if limits else ""
    lines = [*wrapped(title), *wrapped(
        f"Unknowns: {len(found.unknowns)}; numbers: {count}{held}, of {len(found.sets)} data set"
        f"{'s' * (len(found.sets) != 1)}; {found.steps} steps, {found.solves} steady states"), ""]
    if not found.finished:
        lines += [*wrapped(f"Not finished: {found.reason}."), ""]
    lines += [*_values(found), *_correlations(found)]
    lines += listed("What it says", sentences(found))
    for before, after in zip(found.comparisons_before, found.comparisons_after):
        lines += ["", f"{before.name}, before the fit:", "", *comparison_lines(before), "",
                  f"{after.name}, with the values found:", "", *comparison_lines(after), *about_lines(after)]
    return "\n".join([*lines, *listed("Left out", list(found.left_out.values())), *meanings(), "",
                      *wrapped(CAUTION)])


def _values(found: Fit) -> list[str]:
    heads = ["unknown", "before", "found", "standard error", "of it", "limits"]
    rows = []
    for item in found.unknowns:
        value, error = found.values[item.address], found.errors[item.address]
        share = f"{100 * error / abs(value):.2g} %" if item.by_ratio and math.isfinite(error) else ""
        rows.append([item.address, item.written(item.start), item.written(value, digits_of(value, error)),
                     _error_words(item, error, found), share,
                     _limits(item, item.address in found.at_limit)])
    return table([heads, *rows], left=(0, 5))


def _error_words(item: Unknown, error: float, found: Fit) -> str:
    if math.isfinite(error):
        return item.change_written(two_digits(error))
    return "not finished" if not found.finished else "at its limit" if item.address in found.at_limit else \
        "not to be told"


def _correlations(found: Fit) -> list[str]:
    """How the errors go together: the lower half of the table, of many unknowns the closest pairs."""
    names, numbers = [item.address for item in found.unknowns], found.worth.correlations
    if len(names) < 2 or not found.finished:
        return []
    if len(names) > _MOST_CORRELATED:
        pairs = sorted(((i, j) for i in range(len(names)) for j in range(i)), key=lambda pair: -abs(numbers[pair]))
        rows = [[names[i], names[j], f"{numbers[i, j]:+.2f}"] for i, j in pairs[:_MOST_CORRELATED]]
        return ["", *table([["closest correlations", "with", ""], *rows], left=(0, 1))]
    rows = [[name, *(f"{numbers[row, column]:+.2f}" for column in range(row))]
            for row, name in enumerate(names)][1:]
    rows = [row + [""] * (len(names) - len(row)) for row in rows]
    return ["", *table([["correlations", *names[:-1]], *rows], left=(0,))]


def two_digits(error: float) -> float:
    """An error as it is told: more digits of it mean nothing (JCGM 100:2008, 7.2.6)."""
    return float(f"{error:.1e}")


def digits_of(value: float, error: float) -> int:
    """Digits of a value down to the second one of its error."""
    if not (math.isfinite(error) and error > 0.0 and value != 0.0):
        return _DIGITS
    return min(max(math.floor(math.log10(abs(value))) - math.floor(math.log10(two_digits(error))) + 2, 2), _MOST_DIGITS)


def _limits(item: Unknown, at_limit: bool) -> str:
    if not item.limited and not at_limit:
        return ""
    return " to ".join(item.written(end) if math.isfinite(end) else "any" for end in (item.low, item.high))


def sentences(found: Fit) -> list[str]:
    """What the answer is worth, in words that its numbers support."""
    worth, told = found.worth, []
    if math.isfinite(worth.scatter):
        told.append(f"The residuals are {worth.scatter:.2f} times as large as their uncertainties, over "
                    f"{worth.freedom} degrees of freedom: {_scatter_words(worth.scatter)}")
    else:
        told.append("There are as many unknowns as numbers: nothing is left over that could show whether the model is "
                    "right.")
    if worth.widening > 1.0:
        told.append("Numbers far off pull less, and so do all a little: the standard errors are "
                    f"{worth.widening:.2f} times those of squares, as the residuals have it."
                    if math.isfinite(worth.widening) else "Most numbers are so far off that with this loss they say "
                    "nothing: the values found mean little. Fit with squares first.")
    if not found.finished:
        return [*told, "These are no values of a finished search: nothing is said of their errors."]
    for way in worth.vague:
        told.append(_vague(found, way))
    for first, second, correlation in close_pairs(found.unknowns, worth.correlations):
        if not any({first, second} <= way.moves.keys() for way in worth.vague):
            told.append(f"{first} and {second} are found together (correlation {correlation:+.3f}): each by itself is "
                        "as unsure as its error says, both at once are surer.")
    for address in found.at_limit:
        told.append(f"{address} ended at its limit, and the errors of the others are those with it held there; widen "
                    "the limit (LOW:HIGH), or ask whether something else is wrong that it makes up for.")
    if math.isfinite(found.away):
        told.append(f"The search ended {found.away:.2g} standard errors from where the data pull it. It began at one "
                    "place; --set puts a free quantity elsewhere to begin with.")
    if {DRIVE_ERROR, OUTPUT_ERROR} & found.values.keys():
        told.append("What is found of the bench is to be added to what was written down; 'hbsim compare' takes it with "
                    "--set, such as --set bench.drive_error_db=-0.3dB.")
    return told


def _scatter_words(scatter: float) -> str:
    if scatter < 1.0 / _FITS:
        return "the circuit with these values explains the data better than their uncertainties expect; these may be " \
               "stated too large, and so the errors."
    if scatter <= _FITS:
        return "the circuit with these values explains the data."
    return "the circuit with these values does not explain the data, or the uncertainties are stated too small; then " \
           f"the errors are too small as well, by a factor of {scatter:.2g} at least."


def _vague(found: Fit, way: Direction) -> str:
    by_address = {item.address: item for item in found.unknowns}
    if len(way.moves) == 1:
        (address,) = way.moves
        error = found.errors[address]
        return f"{address} is not determined by these data" + (
            "." if not math.isfinite(error) else
            f": its standard error is {by_address[address].change_written(two_digits(error))}.")
    step = 0.1
    moves = ", ".join(f"{address} {_signed_measure(by_address[address], step * move)}"
                      for address, move in way.moves.items())
    return f"The data do not tell {' and '.join(way.moves)} apart: moved together ({moves}) they change next to " \
           "nothing. Give one of them, or measure something that depends on one alone."


def _signed_measure(item: Unknown, move: float) -> str:
    if item.by_ratio:
        return f"{100 * move:+.2g} %"
    return ("+" if move >= 0 else "") + item.change_written(move)
