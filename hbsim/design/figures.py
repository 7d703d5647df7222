"""All numbers of a design under keys that carry their units, with the text to paste: what --json writes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..describe.fragment import fragment
from ..linear.board import Board, Conductor
from ..quantities import finite_or_none
from . import curves
from .band import Found
from .coupled_filter import FilterDesign
from .feed import LINE_OHM, OPEN, FeedDesign
from .lines import LineDesign
from .lumped_match import LumpedMatchDesign, ways
from .pairs import PairDesign
from .stub_match import StubMatchDesign

Design = LineDesign | PairDesign | FilterDesign | StubMatchDesign | LumpedMatchDesign | FeedDesign


def as_json(design: Design) -> dict[str, Any]:
    """Plain dicts, lists, texts and numbers; what does not exist or is infinite is None."""
    writers = {LineDesign: _line, PairDesign: _pair, FilterDesign: _filter, StubMatchDesign: _stub_match,
               LumpedMatchDesign: _lumped_match, FeedDesign: _feed}
    found = {"design": _NAMES[type(design)], **writers[type(design)](design)}
    if getattr(design, "board", None) is not None:
        found["board"] = _board(design.board)
        found["conductor"] = None if design.conductor is None else _metal(design.conductor)
    found["warnings"] = list(getattr(design, "warnings", ()))
    return _finite(found)


_NAMES = {LineDesign: "line", PairDesign: "pair", FilterDesign: "filter", StubMatchDesign: "match by a stub",
          LumpedMatchDesign: "match by lumped parts", FeedDesign: "feed"}


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(item) for item in value]
    if isinstance(value, float):  # numpy's too, which json does not take for numbers
        return finite_or_none(value)
    return value


def _metal(metal: Conductor) -> dict[str, float]:
    return {"thickness_m": metal.thickness, "conductivity_s_per_m": metal.conductivity, "roughness_m": metal.roughness,
            "loss_factor": metal.loss_factor}


def _board(board: Board) -> dict[str, float]:
    return {"height_m": board.height, "permittivity": board.permittivity, "loss_tangent": board.loss_tangent,
            **_metal(board.metal)}


def _impedance(z: complex) -> dict[str, float]:
    if abs(z) > OPEN / 1e3:
        return {"resistance_ohm": math.inf, "reactance_ohm": math.inf, "magnitude_ohm": math.inf}
    return {"resistance_ohm": z.real, "reactance_ohm": z.imag, "magnitude_ohm": abs(z)}


def _lists(values: Sequence[np.ndarray]) -> list[list[float]]:
    return [row.tolist() for row in values]


def _parts(reflection: Sequence[complex] | np.ndarray) -> dict[str, list[float]]:
    """Reflection coefficients, point by point."""
    values = np.asarray(reflection, complex)
    return {"real": values.real.tolist(), "imag": values.imag.tolist()}


def _response(found: curves.Response) -> dict[str, list[float]]:
    return dict(zip(("frequency_hz", "through_db", "reflected_db", "prototype_through_db", "prototype_reflected_db"),
                    _lists(found)))


def _line(d: LineDesign) -> dict[str, Any]:
    v = d.values
    return {"frequency_hz": v.frequency, "width_m": v.width, "exact_width_m": d.exact_width,
            "impedance_ohm": v.impedance, "effective_permittivity": v.effective_permittivity,
            "wavelength_m": v.wavelength, "loss_db_per_m": v.loss_db_per_m if v.frequency else None,
            "length_m": d.length, "exact_length_m": d.exact_length, "electrical_length_deg": d.degrees,
            "loss_db": d.loss_db, "measured_loss_factor": d.loss_factor,
            "hand_formula": {"width_m": d.hand_width, "impedance_ohm": d.hand_impedance},
            "curve": dict(zip(("width_m", "impedance_ohm"), _lists(curves.line_curve(d)))),
            "fragment": fragment(d.elements)}


def _pair(d: PairDesign) -> dict[str, Any]:
    v = d.values
    return {"frequency_hz": v.frequency, "width_m": v.width, "gap_m": v.gap, "exact_width_m": d.exact_width,
            "exact_gap_m": d.exact_gap, "even_impedance_ohm": v.even_impedance, "odd_impedance_ohm": v.odd_impedance,
            "even_permittivity": v.even_permittivity, "odd_permittivity": v.odd_permittivity,
            "even_loss_db_per_m": v.even_loss_db_per_m if v.frequency else None,
            "odd_loss_db_per_m": v.odd_loss_db_per_m if v.frequency else None, "impedance_ohm": v.impedance,
            "coupling_db": v.coupling_db, "quarter_wave_m": d.length,
            "curve": dict(zip(("gap_m", "even_impedance_ohm", "odd_impedance_ohm"), _lists(curves.pair_curve(d)))),
            "fragment": fragment(d.elements)}


def _found(found: Found) -> dict[str, float]:
    return {"low_edge_hz": found.low, "high_edge_hz": found.high, "edge_db": found.edge_db, "centre_hz": found.centre,
            "least_loss_db": found.least_loss_db, "most_loss_db": found.most_loss_db, "ripple_db": found.ripple_db,
            "centre_loss_db": found.centre_loss_db, "return_loss_db": found.return_loss_db,
            "half_frequency_rejection_db": found.half_rejection_db,
            "double_frequency_rejection_db": found.double_rejection_db}


def _filter(d: FilterDesign) -> dict[str, Any]:
    wish, hairpin = d.wish, d.hairpin
    sections = []
    for number, coupling in enumerate(d.couplings):
        section = {"inverter": coupling.inverter, "even_impedance_ohm": coupling.even_impedance,
                   "odd_impedance_ohm": coupling.odd_impedance, "electrical_length_deg": coupling.degrees}
        if d.layouts:
            cut = d.layouts[number]
            section |= {"width_m": cut.width, "gap_m": cut.gap, "length_m": cut.length,
                        "exact_width_m": cut.exact_width, "exact_gap_m": cut.exact_gap,
                        "exact_length_m": cut.exact_length}
            if hairpin is not None:
                section["slide_m"] = hairpin.slides[number]
        sections.append(section)
    bends = None if hairpin is None else {
        "bend_deg": hairpin.degrees, "bend_length_m": hairpin.length, "bend_width_m": hairpin.width,
        "arm_spacing_m": list(hairpin.spacings), "arm_coupling_db": hairpin.arm_coupling_db}
    return {"form": "straight" if hairpin is None else "hairpin", "order": wish.prototype.order,
            "ripple_db": wish.prototype.ripple_db or None, "prototype": list(wish.prototype.values),
            "low_edge_hz": wish.band.low, "high_edge_hz": wish.band.high, "impedance_ohm": wish.impedance,
            "wanted_centre_hz": wish.band.centre, "half_hz": 0.5 * wish.band.centre, "twice_hz": 2.0 * wish.band.centre,
            "sections": sections, "hairpin": bends, "length_factor": d.stretch,
            "found": _found(d.found) | ({} if d.board is None else {"ripple_db": None}),  # of losses it is no ripple
            "found_without_loss": _found(d.lossless), "response_near": _response(curves.response_near(d)),
            "response_far": _response(curves.response_far(d)), "fragment": fragment(d.elements)}


def _stub_match(d: StubMatchDesign) -> dict[str, Any]:
    solutions = [{"stub": s.kind, "distance_deg": s.distance_degrees, "stub_deg": s.stub_degrees,
                  "distance_m": s.distance, "stub_m": s.stub, **_return_losses(s.return_loss_db),
                  "reflection_along_line": _parts(s.along_line), "reflection_along_stub": _parts(s.along_stub),
                  "fragment": fragment(s.elements)} for s in d.solutions]
    return {"frequency_hz": d.frequency, "load": _impedance(d.load), "impedance_ohm": d.impedance,
            "stub_impedance_ohm": d.stub_impedance, "width_m": d.width, "stub_width_m": d.stub_width,
            "solutions": solutions}


def _return_losses(values: tuple[float, ...]) -> dict[str, float]:
    return dict(zip(("return_loss_below_db", "return_loss_db", "return_loss_above_db"), values))


def _lumped_match(d: LumpedMatchDesign) -> dict[str, Any]:
    solutions = [{"series_reactance_ohm": s.series_reactance, "shunt_susceptance_s": s.shunt_susceptance,
                  "shunt_at_load": s.shunt_at_load, "other_frequencies": s.passes, **_return_losses(s.return_loss_db),
                  "reflection_from_load": [_parts(way) for way in ways(d, s)],
                  "fragment": fragment(s.elements)} for s in d.solutions]
    return {"frequency_hz": d.frequency, "load": _impedance(d.load), "impedance_ohm": d.impedance,
            "solutions": solutions}


def _feed(d: FeedDesign) -> dict[str, Any]:
    presented = [{"harmonic": p.harmonic, "frequency_hz": p.harmonic * d.frequency,
                  "supply_open": _impedance(p.open_beyond), "supply_resistive": _impedance(p.resistive_beyond),
                  "loss_db": p.loss_db, "resistive_loss_db": p.resistive_loss_db} for p in d.presented]
    return {"frequency_hz": d.frequency, "harmonic": d.harmonic, "impedance_ohm": d.impedance,
            "stub_impedance_ohm": d.stub_impedance, "width_m": d.width, "length_m": d.length,
            "stub_width_m": d.stub_width, "stub_angle_deg": d.stub_angle, "stub_length_m": d.stub_length,
            "supply_resistance_ohm": d.beyond,
            "presented": presented,
            "curve": {"frequency_hz": list(d.curve_frequency), "line_ohm": LINE_OHM,
                      "magnitude_supply_open_ohm": [abs(z) for z in d.curve_open],
                      "magnitude_supply_resistive_ohm": [abs(z) for z in d.curve_resistive]},
            "fragment": fragment(d.elements)}
