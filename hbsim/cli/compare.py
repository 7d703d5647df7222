"""`hbsim compare`: prediction beside measurement."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import Any

from ..files import watched
from ..quantities import parse
from .shared import (
    CIRCUIT_OR_DEVICE, asked_accuracy, check_outputs, hand_out, load_circuit_or_device, named_values, of_circuit)


BESIDE = "'hbsim readings --keys' prints all that the TOML file beside a data file may say."


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "compare", help="lay measured data beside the prediction, solved at the measured points",
        epilog=BESIDE,
        description="Lay measured data beside the prediction. What the columns of a data file are, which cables and "
                    "pads stood between, and how sure a reading is stands in a TOML file of the same name beside it.")
    of_circuit(parser, "change a quantity for the whole comparison; repeatable", CIRCUIT_OR_DEVICE)
    parser.add_argument("measured", nargs="+", metavar="MEASURED", help="data files, or the TOML files beside them")
    of_bench(parser)
    parser.add_argument("--csv", metavar="FILE", help="write all points as a table; - is standard output")
    parser.set_defaults(run=_compare, compiles=True)


def of_bench(parser: argparse.ArgumentParser) -> None:
    """Options of commands that read measured data."""
    parser.add_argument("--keep", metavar="FOLDER",
                        help="keep inputs, page, tables, pictures and all settings in a new folder")


def _compare(options: argparse.Namespace) -> int:
    from ..bench.compare import as_json
    from ..show.compare_page import compare_page
    from ..show.compare_plot import compare_figure
    check_order(options)
    check_outputs(options, inputs=read_by(options))
    check_keep(options)
    errors, options.values = _bench_errors(options.values)
    with watched() as read:
        circuit = load_circuit_or_device(options)
        with measured_sets(options, circuit.description) as sets:
            comparisons = [_laid_beside(item, errors) for item in sets]
    title = circuit.description.title

    def page() -> str:
        return compare_page(title, comparisons)

    data = {"circuit": title, "comparisons": as_json(comparisons)}
    if options.csv:
        write_comparisons(options.csv, comparisons)
    if options.keep:
        keep_results(options, circuit.description, read, page(), data, comparisons,
                     lambda: compare_figure(title, comparisons), set_of_bench=errors)
    hand_out(options, page, data, lambda: compare_figure(title, comparisons))
    return 0 if all(item.count for one in comparisons for item in one.quantities.values()) else 1


def _bench_errors(values: list[str]) -> tuple[dict[str, float], list[str]]:
    """What --set says of the bench, and what it says of the circuit."""
    from ..bench.dataset import BENCH
    given = named_values(values, "--set")
    return ({name: parse(text, "dB", name) for name, text in given.items() if name in BENCH},
            [f"{name}={text}" for name, text in given.items() if name not in BENCH])


def _laid_beside(item: Any, errors: dict[str, float]) -> Any:
    known = set(item.addresses())
    predicted = item.predict({name: error for name, error in errors.items() if name in known})
    return item.with_other_states(item.comparison(predicted))


@contextmanager
def measured_sets(options: argparse.Namespace, description: Any) -> Iterator[Any]:
    """The data sets that the options name, with the steady states counted on a terminal."""
    from ..bench.load import data_sets
    from ..show.progress import counting_line
    with counting_line() as tell:
        number = count(1)
        yield data_sets(options.measured, description, harmonics=options.harmonics, accuracy=asked_accuracy(options),
                        tell=None if tell is None else lambda: tell(next(number)))


def write_comparisons(path: str, comparisons: Any) -> None:
    """One table of all comparisons: of one measurement as it is, of several with their names in the first column."""
    from ..bench.compare import table
    from .shared import write_table
    tables = [(one.name, *table(one)) for one in comparisons]
    names = ["measurement"]
    for _, heads, _ in tables:
        names += [head for head in heads if head not in names]
    rows = [[name if head == "measurement" else dict(zip(heads, row)).get(head) for head in names]
            for name, heads, rows in tables for row in rows]
    write_table(path, names, rows)


def read_by(options: argparse.Namespace) -> list[Path]:
    """All files that the measured data are read from."""
    from ..bench.load import inputs_of
    return [path for measured in options.measured for path in inputs_of(measured)]


def check_order(options: argparse.Namespace) -> None:
    """Refuse a circuit file among the data, which is one in the wrong place."""
    from ..describe.tomlfile import read_toml
    from ..errors import Refusal
    for path in map(Path, options.measured):
        if path.suffix.lower() == ".toml" and path.is_file() and "part" in read_toml(path):
            raise Refusal("is a circuit file, and stands where measured data are expected; the circuit file comes "
                          f"first: {path} {options.file}", file=str(path))


def check_keep(options: argparse.Namespace) -> None:
    """Refuse before the work a folder that could not be written after it."""
    if options.keep:
        from ..bench.kept import check_empty
        check_empty(options.keep)


def keep_results(options: argparse.Namespace, description: Any, read: Iterable[Path], page: str, data: dict,
                 comparisons: Any, figure: Any, beside_circuit: dict | None = None,
                 set_of_bench: dict | None = None) -> None:
    """Everything into the folder of --keep.

    read : all files that circuit and measured data were read from.
    beside_circuit : name -> what writes that file, into the folder of the copy of the circuit file, so that the files
        which it names are found.
    """
    import json

    from ..bench.compare import table
    from ..bench.kept import keep, places, table_writer, text_writer
    from ..describe.library import of_the_library
    from ..show.style import save
    from ..studies.fingerprint import circuit_fingerprint
    written = {"page.txt": text_writer(page), "results.json": text_writer(json.dumps(data, indent=1, allow_nan=False))}
    for number, one in enumerate(comparisons, 1):
        written[f"table_{number}_{Path(one.name).stem}.csv"] = table_writer(*table(one))
    for ending in ("png", "pdf"):
        written[f"picture.{ending}"] = lambda path: save(figure(), str(path))
    inputs = [options.file, *(path for path in read if not of_the_library(path))]
    folder = Path("inputs", places(inputs)[Path(options.file).resolve()]).parent
    written |= {(folder / name).as_posix(): write for name, write in (beside_circuit or {}).items()}
    asked = {name: value for name, value in vars(options).items()
             if isinstance(value, (str, int, float, list, type(None)))
             and name not in ("json", "csv", "plot", "version", "compiles")}
    given = named_values(options.values, "--set") | (set_of_bench or {})
    keep(options.keep, asked | {"set": given}, circuit_fingerprint(description), inputs, written)
