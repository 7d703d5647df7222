"""The numbers of a frequency study for files: JSON, and a table of all points; and what its words mean."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from ..quantities import dbm, finite_or_none
from .band_edges import Band, Edge, Mark
from .frequency_study import BELOW_MOST_DB, FrequencyStudy, Through, leak


def definitions(study: FrequencyStudy) -> dict[str, str]:
    """What is meant by the figures of a study."""
    n, below = study.order, " and ".join(f"{db:g}" for db in BELOW_MOST_DB)
    name = "f0" if n == 1 else f"{n} f0"
    wide = "" if n == 1 else f"; the wanted harmonic is {n} f0, so that a band of it is {n} times as wide"
    found = {
        "f0": "the frequency of the drive" + wide,
        "most_output": f"at {name}, at the same drive throughout; looked for by solves between the points beside the "
                       "highest one, to a thousandth of their distance",
        "bandwidth": f"around the most output, as far as the output is at most {below} dB below it; each edge is "
                     "solved for between two points, to 1e-7 of its frequency. A dip between two points is not seen",
        "leakage": f"another harmonic at the wanted port against {name}, both at the same f0; at its worst: of the "
                   "points within the 3 dB band, its edges and the most output",
        "return_loss": "of the driven port at f0, under drive, against the port's own impedance",
    }
    if study.through:
        found["carried"] = ("power that goes through a place, Re(V I*) / 2 as in the power budget: at a node what all "
                            "that give power there give together, which is what the others take; at a part what comes "
                            "out of it. It goes forth or back: who gives it is told. Where parts stand beside each "
                            "other between the same nodes, power that circulates in them counts too")
    return found


def header(study: FrequencyStudy) -> list[str]:
    """Column names of the CSV file; each carries its unit."""
    return ["drive.frequency_hz", "wanted_frequency_hz", *study.columns, *(f"output_dbc_{k}" for k in study.others),
            *(f"through_{t.place.kind}_{t.place.name}_dbm_{k}" for t in study.through
              for k in range(1, study.lines + 1))]


def rows(study: FrequencyStudy) -> Iterator[list[str]]:
    """Rows of the CSV file, one a point; an unsolved point has no numbers and solved = false."""
    derived = [study.leak(k) for k in study.others]
    derived += [t.dbm(k) for t in study.through for k in range(1, study.lines + 1)]
    for n, hz in enumerate(study.frequency):
        cells = [str(bool(column[n])).lower() if name == "solved" else _cell(column[n])
                 for name, column in study.columns.items()]
        yield [repr(float(hz)), repr(float(hz * study.order)), *cells, *(_cell(values[n]) for values in derived)]


def _cell(value: float) -> str:
    return repr(float(value)) if math.isfinite(value) else ""


def as_json(study: FrequencyStudy) -> dict[str, Any]:
    """All numbers of a study as plain data; None stands for no number."""
    return {
        "title": study.description.title, "wanted_harmonic": study.order, "wanted_port": study.description.wanted_port,
        "drive_dbm": study.description.drive.power_dbm, "file_frequency_hz": study.description.drive.frequency,
        "definitions": definitions(study), "at_file_frequency": _mark_json(study, study.own),
        "at_file_frequency_below_most_db": None if study.own is None or study.most is None else finite_or_none(
            study.most.columns[study.wanted] - study.own.columns[study.wanted]),
        "most_output": _mark_json(study, study.most),
        "bands": [{"below_most_db": below, "level_dbm": one.level, **_band_json(study, one)}
                  for below, one in zip(BELOW_MOST_DB, study.bands)],
        "best_match": _mark_json(study, study.match),
        "matched": {"return_loss_db": study.matched_db,
                    **({} if study.matched is None else _band_json(study, study.matched))},
        "worst_leakage": [{"harmonic": one.harmonic, "dbc": finite_or_none(one.dbc), "f0_hz": one.at_hz,
                           "wanted_frequency_hz": one.at_hz * study.order} for one in study.leaks],
        "f0_hz": study.frequency.tolist(), "wanted_frequency_hz": (study.frequency * study.order).tolist(),
        "columns": {name: column.astype(bool).tolist() if name == "solved" else _list(column)
                    for name, column in study.columns.items()},
        **{f"output_dbc_{k}": _list(study.leak(k)) for k in study.others},
        "through_found_between_stages": study.found_places,
        "through": [_through_json(study, one) for one in study.through],
        "points_as_good_outside_the_band": study.again.tolist(),
        "unsure_points": np.flatnonzero(study.unsure).tolist(),
        "unsolved": [{"point": n, "f0_hz": float(study.frequency[n]), "reason": why}
                     for n, why in sorted(study.reasons.items())],
        "steady_states_solved_for": study.solves,
    }


def _mark_json(study: FrequencyStudy, mark: Mark | None) -> dict[str, Any] | None:
    if mark is None:
        return None
    return {"f0_hz": mark.hz, "wanted_frequency_hz": mark.hz * study.order, "place": mark.place,
            "columns": _columns_json(study, mark.columns)}


def _columns_json(study: FrequencyStudy, columns: Mapping[str, float]) -> dict[str, Any]:
    found = {name: finite_or_none(float(value)) for name, value in columns.items() if name != "solved"}
    return found | {f"output_dbc_{k}": finite_or_none(float(leak(columns, k, study.order))) for k in study.others}


def _band_json(study: FrequencyStudy, one: Band) -> dict[str, Any]:
    width = one.width_hz
    return {"low": _edge_json(study, one.low), "high": _edge_json(study, one.high), "width_f0_hz": width,
            "width_wanted_hz": None if width is None else width * study.order, "width_over_middle": one.share}


def _edge_json(study: FrequencyStudy, edge: Edge) -> dict[str, Any]:
    return {"f0_hz": edge.hz, "wanted_frequency_hz": None if edge.hz is None else edge.hz * study.order,
            "why": edge.why or "found", "near_f0_hz": edge.near_hz,
            "columns": None if edge.columns is None else _columns_json(study, edge.columns)}


def _through_json(study: FrequencyStudy, one: Through) -> dict[str, Any]:
    harmonics, at = range(1, study.lines + 1), one.at_most
    return {
        "name": one.place.name, "kind": one.place.kind,
        "at_most_output": None if at is None else [
            {"harmonic": k, "watts": float(at.watts[k]), "dbm": finite_or_none(dbm(float(at.watts[k]))),
             ("given_by" if one.place.kind == "node" else "comes_out_at"): at.by[k] or None} for k in harmonics],
        **{f"watts_{k}": _list(one.watts[:, k]) for k in harmonics},
        **{f"dbm_{k}": _list(one.dbm(k)) for k in harmonics},
    }


def _list(values: np.ndarray) -> list[float | None]:
    return [finite_or_none(float(value)) for value in values]
