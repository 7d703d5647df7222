"""What gradients cost: three figures of the beacon doubler against all of its quantities, beside one solve.

    solve        one point, harmonics found by the solver, a linear part changed before each: networks are built for it
    kept         the same with nothing changed: its networks are at hand
    gradient     adjoint, at the state solved; first: the network was just built, again: only the state is new
    forward      how the whole solution moves, and the figures from that
    differences  central differences of full solves, two a quantity, from the state as a start: what a gradient replaces

Figures are of one run on one machine; the ratios between them are what can be compared. Each is the median of processor
time over the repetitions, but the differences, which are timed once. Their slopes are compared with those of the
gradient to show that both answer the same question; the tests confirm each quantity to 1e-5.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

import hbsim  # noqa: E402
from hbsim.balance import influence  # noqa: E402
from hbsim.balance.gradient import figure, gradient, sensitivities  # noqa: E402

FIGURES = ["output_dbm_2", "input_return_loss_db", "supply_amps_VCC"]
FIT = ["Q1.BF", "Q1.RE", "via_1.inductance", "board.permittivity", "match_stub.length", "C_in.capacitance"]
REPEATED = 15
STEP = 1e-4  # of the differences, of each quantity


def once_ms(job: Callable[[], object]) -> float:
    """Processor time of one call. [ms]"""
    began = time.thread_time()
    job()
    return 1e3 * (time.thread_time() - began)


def median_ms(job: Callable[[], object], before: Callable[[], object] = lambda: None) -> float:
    """Median of some calls, each after `before`, which is not counted. [ms]"""
    times = []
    for _ in range(REPEATED):
        before()
        times.append(once_ms(job))
    return statistics.median(times)


def by_differences(circuit: hbsim.Circuit, state, addresses: list[str]) -> dict[str, dict[str, float]]:
    """The same table from two full solves a quantity; a quantity of zero or beside a limit is left out."""
    figures = {name: figure(name, state.description) for name in FIGURES}
    table: dict[str, dict[str, float]] = {name: {} for name in FIGURES}
    for address in (a for a in addresses if state.description.look_up(a)[1] != 0.0):
        value = state.description.look_up(address)[1]
        step = STEP * abs(value)
        try:
            circuit.description.with_values({address: value - step})
            above, below = (circuit.solve({address: value + sign * step}, harmonics=state.solver.harmonics, start=state)
                            for sign in (1.0, -1.0))
        except hbsim.Refusal:
            continue
        for name, item in figures.items():
            table[name][address] = (item.value(above, above.description) - item.value(below, below.description)) \
                / (2 * step)
    return table


def main() -> None:
    """Print the table."""
    circuit = hbsim.load(ROOT / "examples" / "beacon_2304.toml")
    state = circuit.solve()
    table = gradient(state, FIGURES)
    addresses = list(table[FIGURES[0]])
    forget = influence._KEPT.clear
    resistances = iter(12e3 + 0.01 * n for n in range(1, 1000))
    circuit.solve({"R_b.resistance": next(resistances)})
    solve = median_ms(lambda: circuit.solve({"R_b.resistance": next(resistances)}))
    kept = median_ms(circuit.solve)
    print(f"beacon doubler, {state.solver.harmonics} harmonics, {state.form.size} unknowns, {len(FIGURES)} figures, "
          f"{len(addresses)} quantities")
    print(f"    one solve {solve:.1f} ms, on networks that are kept {kept:.1f} ms")
    for title, job, before in (
            ("gradient, first", lambda: gradient(state, FIGURES, addresses), forget),
            ("gradient, again", lambda: gradient(state, FIGURES, addresses), lambda: None),
            ("forward, first", lambda: sensitivities(state, addresses).of(FIGURES), forget),
            ("forward, again", lambda: sensitivities(state, addresses).of(FIGURES), lambda: None),
            (f"gradient of {len(FIT)}, first", lambda: gradient(state, FIGURES, FIT), forget),
            (f"gradient of {len(FIT)}, again", lambda: gradient(state, FIGURES, FIT), lambda: None)):
        taken = median_ms(job, before)
        print(f"    {title:22} {taken:6.1f} ms, {taken / solve:.2f} solves")
    compared: dict[str, dict[str, float]] = {}
    taken = once_ms(lambda: compared.update(by_differences(circuit, state, addresses)))
    done = len(compared[FIGURES[0]])
    print(f"    {'differences':22} {taken:6.0f} ms, {taken / solve:.0f} solves, for the {done} quantities that are "
          "neither zero nor at a limit")
    for name in FIGURES:
        scale = max(abs(slope * state.description.look_up(a)[1]) for a, slope in compared[name].items())
        worst = max(abs(slope - table[name][a]) * abs(state.description.look_up(a)[1])
                    for a, slope in compared[name].items())
        print(f"        {name}: differences and gradient apart by at most {worst / scale:.0e} of the largest, "
              "each quantity moved by its own size")


if __name__ == "__main__":
    main()
