"""Pages of text of `hbsim terminations`: what was replaced, what is best, what the output reflects under drive."""

from __future__ import annotations

import cmath
import math

import numpy as np

from ..quantities import show
from ..studies.plane import DRIVE_SIDE, OUTPUT_SIDE
from ..studies.stub_distance import StubDistance
from ..studies.terminations import Point, Terminations
from .style import harmonic_name
from .text import listed, table, wrapped

_DEEP_DB = 60.0  # a return loss above is told as "above"
_BETWEEN = "the best input match is read between the solved points, from a smooth surface through them"
_ROUNDING = 1e-9  # relative: a resistance below is one of 0
_EVERY_DEG = 15.0  # of the distances that the page tells; --json holds all


def terminations_page(found: Terminations) -> str:
    """The readable page of contours."""
    where = found.plane
    wanted = harmonic_name(where.description.wanted_harmonic)
    lines = [*wrapped(where.description.title),
             *wrapped(f"Terminations of {where.pin} (node {where.node}) at {harmonic_name(where.harmonic)}, "
                      f"{show(where.frequency, 'Hz', 6)}; DC and all other harmonics stay as the circuit has them"),
             "", *table(_rows(found, wanted), left=(0,))]
    gained = found.best.output_dbm - found.present.output_dbm
    lines += ["", *wrapped(f"Of {found.solves} solves with {found.harmonics} harmonics the best gives {gained:+.2f} dB "
                           f"against the circuit as it is"
                           + (f"; it lies at the end of the reach, {found.reach:g}" if found.at_edge else "") + ".")]
    if found.unsolved:
        lines += wrapped(f"{len(found.unsolved)} terminations have no steady state that was found; the picture leaves "
                         "them white.")
    lines += ["", *_hot_lines(found)]
    lines += listed("What this rests on", [definition(found), _BETWEEN, *found.notes])
    return "\n".join(lines)


def definition(found: Terminations) -> str:
    """What output and input match mean here, in one sentence."""
    where = found.plane
    wanted = harmonic_name(where.description.wanted_harmonic)
    if where.side == OUTPUT_SIDE:
        port = found.state.output_dbm(where.description.wanted_harmonic)
        return (f"output is the power at {wanted} that goes into the termination at {where.node}, what a network "
                f"without loss would pass on; the circuit as it is brings {port:.2f} dBm to port "
                f"{where.description.wanted_port}; the input match is that of port {where.description.drive.port}")
    if where.side == DRIVE_SIDE:
        return (f"the power available at {where.node} at f0 is held as it is, the generator follows; the input match "
                f"is that between {where.node} and {where.pin}, of power waves (Kurokawa 1965); output is that of port "
                f"{where.description.wanted_port}")
    return (f"output at {wanted} and input match are those at the ports {where.description.wanted_port} and "
            f"{where.description.drive.port}")


def _rows(found: Terminations, wanted: str) -> list[list[str]]:
    match, level = found.match.highest
    rows = [["", "reflection", "impedance / ohm", f"{wanted} / dBm", "input return loss / dB"]]
    for name, item in (("as it is", found.present), ("most output", found.best)):
        rows.append([name, *_told(found, item.reflection), f"{item.output_dbm:.2f}", _loss(item)])
    rows.append(["best input match", *_told(found, match), "", return_loss(level)])
    return rows


def _told(found: Terminations, reflection: complex) -> list[str]:
    z = found.plane.impedance(reflection)
    z = complex(z.real if z.real > _ROUNDING * abs(z) else 0.0, z.imag)
    impedance = f"{z.real:.3g} {'-' if z.imag < 0 else '+'} j{abs(z.imag):.3g}" if abs(z) < 1e6 else "open"
    return [polar(reflection), impedance]


def polar(value: complex) -> str:
    """"0.512 at -37.2 deg"."""
    return f"{abs(value):.3f} at {math.degrees(cmath.phase(value)):.1f} deg"


def return_loss(level: float) -> str:
    """A return loss [dB] in figures that mean something."""
    return f"above {_DEEP_DB:.0f}" if level > _DEEP_DB else f"{level:.2f}"


def _loss(item: Point) -> str:
    return return_loss(item.input_return_loss_db)


def _hot_lines(found: Terminations) -> list[str]:
    hot = found.hot
    low, high = hot.range
    return wrapped(
        f"Under drive, as the circuit is, port {hot.port} reflects a small tone at {harmonic_name(hot.harmonic)} with "
        f"{polar(hot.direct)} (direct) and, mirrored by the drive, {polar(hot.mirrored)} of the tone's conjugate, "
        f"times taken against the generator's cosine, reference {show(hot.reference, 'ohm')}: with the phase of the "
        f"tone the reflection runs from {low:.3f} to {high:.3f}. A load there pulls the output the same way.")


def stub_distance_page(found: StubDistance) -> str:
    """The readable page of a stub that is moved."""
    wanted = found.description.wanted_harmonic
    frequency = found.harmonic * found.description.drive.frequency
    lines = [*wrapped(found.description.title),
             *wrapped(f"An open stub, a quarter wave at {harmonic_name(found.harmonic)} ({show(frequency, 'Hz', 6)}), "
                      f"moved away from {found.pin} on a line of {show(found.impedance, 'ohm')}"), ""]
    curves = 3 if found.has_reflector else 2
    names = ["stub", "line alone", "reflector"][:curves]
    heads = [["", f"output at {harmonic_name(wanted)} / dBm", *[""] * (curves - 1), "input return loss / dB",
              *[""] * (curves - 1)], ["distance / deg", *names, *names]]
    shown = sorted({int(np.argmin(np.abs(found.degrees - value)))
                    for value in np.arange(found.degrees[0], found.degrees[-1] + 1.0, _EVERY_DEG)})
    rows = heads
    for number in shown:
        rows.append([f"{found.degrees[number]:g}", *(_cell(values[number]) for values in (
            *found.output_dbm[:curves], *found.input_return_loss_db[:curves]))])
    lines += table(rows)
    best, alone = found.best(), found.best(1)
    lines += ["", *wrapped(
        f"Most output with the stub: {found.output_dbm[0, best]:.2f} dBm at {found.degrees[best]:g} deg; least: "
        f"{np.nanmin(found.output_dbm[0]):.2f} dBm. With the line alone at best {found.output_dbm[1, alone]:.2f} dBm "
        f"at {found.degrees[alone]:g} deg; the circuit as it is gives {found.present.output_dbm(wanted):.2f} dBm.")]
    if found.has_reflector:
        alone = found.best(2)
        lines += wrapped(f"The reflector alone gives most at {found.degrees[alone]:g} deg, "
                         f"{found.output_dbm[2, alone]:.2f} dBm.")
    if found.unsolved:
        lines += wrapped(f"{found.unsolved} points have no steady state that was found ('-').")
    return "\n".join(lines + listed("What this rests on", [
        "line and stub are ideal: no loss, no dispersion, no junction where they meet",
        "line and stub change the terminations at all other harmonics too; line alone: without the stub; reflector: "
        f"what the stub does behind the line at {harmonic_name(found.harmonic)}, and nothing elsewhere",
        f"all solved with the {found.present.system.harmonics} harmonics that the circuit as it is needs"]))


def _cell(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else "-"
