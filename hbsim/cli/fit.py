"""`hbsim fit`: unknowns from measured data."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from ..errors import Refusal
from ..files import watched
from .compare import (
    BESIDE, check_keep, check_order, keep_results, measured_sets, of_bench, read_by, write_comparisons)
from .shared import (
    CIRCUIT_OR_DEVICE, check_outputs, complain, hand_out, load_circuit_or_device, named_values, of_circuit)


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "fit", help="find unknown quantities from measured data, with their errors",
        epilog=BESIDE,
        description="Find unknown quantities by least squares from any mix of measured data, with standard errors, and "
                    "say what the data cannot tell apart. Every measured quantity needs an uncertainty, in the TOML "
                    "file beside the data.")
    of_circuit(parser, "change a quantity for the whole search, or where it starts for a free one; repeatable",
               CIRCUIT_OR_DEVICE)
    parser.add_argument("measured", nargs="+", metavar="MEASURED", help="data files, or the TOML files beside them")
    parser.add_argument("--free", action="append", default=[], metavar="NAME.QUANTITY[=LOW:HIGH]",
                        help="needed: an unknown, such as board.permittivity=4:5 or Q1.BF; several with a comma "
                             "between, or *, take one value; 'scale filter_*.length' finds a factor on each; "
                             "repeatable. "
                             "bench.drive_error_db and bench.output_error_db are what is to be added to the drive and "
                             "to the levels that were written down")
    parser.add_argument("--loss", choices=["squares", "soft", "bounded"], default="squares",
                        help="how much a number far off pulls: by its square (default), its distance, or hardly more "
                             "the farther it is")
    parser.add_argument("--write", metavar="FILE", help="the circuit or model file with the values found")
    parser.add_argument("--replace", action="store_true", help="let --write replace a file that is there")
    parser.add_argument("--csv", metavar="FILE", help="write all points, with the values found, as a table; - is "
                                                      "standard output")
    of_bench(parser)
    parser.set_defaults(run=_fit, compiles=True)


def _fit(options: argparse.Namespace) -> int:
    from ..bench.device_alone import addressed
    from ..bench.fit import as_json, fit
    from ..bench.unknowns import unknowns
    from ..show.compare_plot import compare_figure
    from ..show.fit_page import fit_page
    check_order(options)
    check_outputs(options, inputs=read_by(options))
    if options.write and Path(options.write).exists() and not options.replace:
        raise Refusal(f"'{options.write}' is there already; name another file, or add --replace", "--write")
    check_keep(options)
    free = _free(options)
    with watched() as read:
        circuit = load_circuit_or_device(options)
        items = unknowns(addressed(free, circuit.description), circuit.description)
        not_written = _not_written(options, circuit.description, items)
        with measured_sets(options, circuit.description) as sets:
            found = fit(sets, items, options.loss)
    title = circuit.description.title

    def page() -> str:
        told = f"\n\nNot written, the file with the values found: {not_written}" if not_written else \
            f"\n\nWritten: {options.write}" if options.write else ""
        return fit_page(title, found) + (told if options.write or options.keep else "")

    def figure() -> Any:
        return compare_figure(title, found.comparisons_after, found.comparisons_before)

    data = {"circuit": title} | as_json(found)
    if not found.finished:
        not_written = "the search did not finish"
    text = "" if not_written or not (options.write or options.keep) else \
        _with_values(options, circuit.description, items, _rounded(found), _remarks(found))
    if options.write and text:
        from ..files import replaced
        with replaced(options.write) as handle:
            handle.write(text)
    if options.csv:
        write_comparisons(options.csv, found.comparisons_after)
    if options.keep:
        from ..bench.kept import text_writer
        keep_results(options, circuit.description, read, page(), data, found.comparisons_after, figure,
                     {f"fitted_{Path(options.file).name}": text_writer(text)} if text else None)
    hand_out(options, page, data, figure)
    return 0 if found.finished else complain(found.reason, 130 if "interrupted" in found.reason else 1)


def _free(options: argparse.Namespace) -> dict[str, str]:
    if not options.free:
        raise Refusal("nothing is free; give for example --free board.permittivity=4:5", "--free")
    found: dict[str, str] = {}
    for text in options.free:
        name, _, limits = (piece.strip() for piece in text.partition("="))
        if name in found:
            raise Refusal(f"'{name}' is free twice; keep one", "--free")
        found[name] = limits
    return found


def _not_written(options: argparse.Namespace, description: Any, items: Any) -> str:
    """Why the file cannot be written with other values, before the work of finding them; "" if it can.

    Raises
    ------
    Refusal
        It cannot, and --write asks for it.
    """
    if not (options.write or options.keep):
        return ""
    try:
        _with_values(options, description, items, {item.address: item.start for item in items}, [])
    except Refusal as refusal:
        if options.write:
            raise
        return str(refusal)
    return ""


def _with_values(options: argparse.Namespace, description: Any, items: Any, values: dict[str, float],
                 remarks: list[str]) -> str:
    """The circuit or model file with values of the unknowns."""
    from ..bench.dataset import BENCH
    from ..bench.device_alone import NAME, addressed, is_alone
    from ..describe.rewritten import rewritten, rewritten_model
    path = Path(options.file)
    inside = {address: description.look_up(address)[1]
              for address in addressed(named_values(options.values, "--set"), description)}
    for item in items:
        if item.address not in BENCH:
            inside |= item.settings(values[item.address])
    text = path.read_text(encoding="utf-8-sig")
    if is_alone(description):
        return rewritten_model(text, {address.removeprefix(f"{NAME}."): value for address, value in inside.items()},
                               remarks)
    return rewritten(text, description, inside, remarks, Path(options.write).parent if options.write else path.parent)


def _rounded(found: Any) -> dict[str, float]:
    """Values to a hundredth of their standard errors: more digits say nothing."""
    from ..show.fit_page import digits_of
    return {address: float(f"{value:.{digits_of(value, found.errors[address]) + 2}g}")
            for address, value in found.values.items()}


def _remarks(found: Any) -> list[str]:
    """Where the values come from."""
    from ..bench.dataset import BENCH
    from ..show.fit_page import digits_of, two_digits
    told = [f"Fitted by hbsim to {', '.join(item.name for item in found.sets)}:"]
    for item in found.unknowns:
        value, error = found.values[item.address], found.errors[item.address]
        told.append(f"  {item.address} = {item.written(value, digits_of(value, error))}, standard error "
                    + (item.change_written(two_digits(error)) if error < float("inf") else "not to be told"))
    if any(item.address in BENCH for item in found.unknowns):
        told.append("What begins with bench. belongs to the readings and is not in this file.")
    return told
