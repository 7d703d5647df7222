"""Gradients of solved states, against full solves at neighbouring values and against closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest
from balance_circuits import mixed_stage
from tight_differences import slopes, solved

import hbsim
from hbsim.balance import influence, prepare
from hbsim.balance.figures import (ConversionLoss, DeviceHeat, DirectVoltage, Efficiency, OutputLevel, OutputPhase,
                                   OutputWatts, PartHeat, PeakVoltage, ReturnLoss, SupplyCurrent, SupplyPower)
from hbsim.balance.gradient import figure, gradient, sensitivities
from hbsim.balance.prepare import Networks
from hbsim.errors import Refusal
from hbsim.linear.lumped import Capacitor
from hbsim.linear.network import Element

HARMONICS = 8  # the same for gradient and solves: what more harmonics change is not what is tested
RELATIVE = 1e-5  # asked for by the project; truncation and rounding of the differences of laws leave 1e-8 or so
# Below this a change of the figure, per 100 % of the quantity, is rounding of the solves that are compared with: a
# voltage is known to 1e-15 of the largest, a step is 8e-6 to 2e-4 of the quantity, and the least of the lines compared
# is some 40 dB below the largest. [dB, deg, V, 1], and of currents and powers a hundredth of that [A, W]
FLOOR = 2e-8
# Steps where the quantity is zero: the slope of a figure there is met to 1e-5 only where it hardly bends
FROM_ZERO = {"F": 1e-16, "H": 1e-13, "ohm": 1e-4, "s": 1e-14, "A": 1e-17, "V": 1e-4, "deg": 1e-2, "K/W": 1e-1,
             "1": 1e-4}
EXAMPLES = ["lumped_doubler", "beacon_2304", "beacon_5760", "push_push_2304", "chain_4608", "diode_doubler",
            "bridge_doubler", "varactor_jump", "beacon_2304_filter_file"]


def figures_of(description):
    """One of each kind."""
    first = next(iter(description.devices))
    nodes = [node for node in description.devices[first].nodes if node != "ground"]
    wanted = description.wanted_harmonic
    found = {"level": OutputLevel(wanted), "f0": OutputLevel(1), "watts": OutputWatts(wanted),
             "phase": OutputPhase(wanted), "match": ReturnLoss(), "loss": ConversionLoss(),
             "efficiency": Efficiency(), "mean": DirectVoltage(nodes[0]), "peak": PeakVoltage(nodes[-1]),
             "device": DeviceHeat(first), "load": PartHeat("port.output"), "part": PartHeat(next(iter(
                 description.parts)))}
    found |= {f"current {name}": SupplyCurrent(name) for name in description.supplies}
    found |= {f"heat {name}": PartHeat(f"supply.{name}") for name in description.supplies}
    return found | ({"power": SupplyPower()} if description.supplies else {})


def differences(state, ambient, address, figures, networks):
    """Slope of each figure by brute force, from the step (of up to three) at which it is surest of itself."""
    spec, value = ambient.look_up(address)
    step = 1e-2 if spec.unit == "dBm" else 2e-4 * abs(value) or FROM_ZERO[spec.unit]
    tries = []
    for share in (1.0, 0.2, 0.04):
        tries.append(slopes(state, ambient, address, figures, step * share, networks))
        if all(changed <= 2e-5 * abs(slope) + FLOOR / (abs(value) or 1.0) for slope, changed in tries[-1].values()):
            break
    return {name: min((found[name] for found in tries), key=lambda pair: pair[1])[0] for name in figures}


def wrong(state, ambient, figures, addresses, networks=None):
    """Sentences on every slope that brute force does not confirm."""
    networks = networks or Networks()
    found, sentences = gradient(state, figures, addresses), []
    for address in addresses:
        spec, value = ambient.look_up(address)
        expected = differences(state, ambient, address, figures, networks)
        for name, slope in expected.items():
            small = name in ("watts", "device", "load", "part", "power") or name.startswith(("current", "heat"))
            floor = FLOOR * (0.01 if small else 1.0) / (abs(value) or 1e4 * FROM_ZERO.get(spec.unit, 1e-4))
            if not abs(found[name][address] - slope) <= RELATIVE * abs(slope) + floor:
                sentences.append(f"{name} by {address} = {value:g}: {found[name][address]:.9g}, solves say {slope:.9g}")
    return sentences


def settled(circuit, **values):
    """A state and the description it was solved from, at rounding."""
    description = circuit.description.with_values(values) if values else circuit.description
    state = hbsim.Circuit(description).solve(harmonics=HARMONICS)
    return solved(state, description, Networks()), description


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_quantity_of_every_example_against_full_solves(examples, name):
    state, description = settled(hbsim.load(examples / f"{name}.toml"))
    figures = figures_of(description)
    addresses = list(gradient(state, {"level": figures["level"]})["level"])
    assert wrong(state, description, figures, addresses) == []
    for address in set(description.addresses()) - set(addresses):
        value = description.look_up(address)[1]
        if value is None or math.isinf(value):  # not a number that could be another
            continue
        # a package without inductance is a node less
        assert value == 0.0 and address in ("Q1.base_inductance", "Q1.emitter_inductance", "Q1.collector_inductance")
        with pytest.raises(Refusal, match="a part or a node comes or goes"):
            gradient(state, figures, [address])


@pytest.mark.parametrize("name", ["lumped_doubler", "push_push_2304"])
def test_devices_that_heat_themselves(examples, name):
    circuit = hbsim.load(examples / f"{name}.toml")
    # with 280 K/W the junctions are 1 K (lumped, 4 mW) and some 15 K hotter than their surroundings
    state, ambient = settled(circuit, **{f"{q}.thermal_resistance": 280.0 for q in circuit.description.devices})
    assert state.description.devices["Q1"].part.temperature > ambient.devices["Q1"].part.temperature + 0.9
    addresses = ["Q1.temperature", "Q1.thermal_resistance", "Q1.in_parallel", "Q1.BF", "Q1.RE", "Q1.XTI", "supply.VCC",
                 "drive.power", "drive.frequency"]
    addresses += [a for a in ("R_b.resistance", "R_c.resistance", "match_stub_1.length", "Q2.temperature")
                  if a in ambient.addresses()]
    figures = figures_of(ambient)
    assert wrong(state, ambient, figures, addresses) == []
    found = sensitivities(state, addresses)
    warmer = {name: found.temperatures[name]["Q1"] for name in addresses}
    step = 0.5
    hot, cold = (solved(state, ambient.with_values({"supply.VCC": ambient.supplies["VCC"].voltage + s * 1e-3 * step}),
                        Networks()).description.devices["Q1"].part.temperature for s in (1, -1))
    # a central difference over 1 mV of 2 or 3 V: its own error is some 1e-7
    assert warmer["supply.VCC"] == pytest.approx((hot - cold) / (2e-3 * step), rel=1e-5)
    assert warmer["Q1.temperature"] > 1.0  # hotter surroundings, more current


def test_a_choke_straight_to_a_stiff_supply():
    # no admittance at DC: the pair (A, B) of the balance, with B not the identity
    state, description = settled(mixed_stage())
    assert not state.system.network.identity[0]
    figures = figures_of(description)
    assert wrong(state, description, figures, list(gradient(state, figures)["level"])) == []


def test_forward_and_adjoint_say_the_same(examples):
    state, description = settled(hbsim.load(examples / "beacon_2304.toml"), **{"Q1.thermal_resistance": 280.0})
    figures = figures_of(description)
    adjoint, forward = gradient(state, figures), sensitivities(state)
    assert list(forward.forms) == list(adjoint["level"])
    for name, row in forward.of(figures).items():
        # one is the other, transposed: rounding alone, of a sum whose terms may be 1e4 times what they leave
        scale = max(abs(slope * description.look_up(address)[1]) for address, slope in row.items())
        for address, slope in row.items():
            value = abs(description.look_up(address)[1]) or math.inf
            assert adjoint[name][address] == pytest.approx(slope, rel=1e-8, abs=1e-11 * scale / value), (name, address)


def test_the_whole_solution_moves_as_sensitivities_say(examples):
    state, description = settled(hbsim.load(examples / "lumped_doubler.toml"))
    for address in ("supply.VCC", "C_c.capacitance", "Q1.BF", "drive.frequency"):
        slope, value = sensitivities(state, [address]).forms[address], description.look_up(address)[1]
        step = 1e-5 * value
        above, below = (solved(state, description.with_values({address: value + s}), Networks()).form
                        for s in (step, -step))
        # central difference: its error is 1e-10 of a curvature that may be a thousand times the slope
        np.testing.assert_allclose((above - below) / (2 * step), slope, rtol=1e-5, atol=1e-6 * np.abs(slope).max())


def test_jacobian_in_pieces_gives_the_same(examples):
    circuit = hbsim.load(examples / "push_push_2304.toml")
    state, description = settled(circuit)
    figures = figures_of(description)
    whole, ahead = gradient(state, figures), sensitivities(state)
    state.system.keep_jacobian(whole=False)
    for found, of in ((gradient(state, figures), whole), (sensitivities(state).of(figures), ahead.of(figures))):
        for name, row in found.items():
            for address, slope in row.items():
                # two eliminations of one matrix
                assert slope == pytest.approx(of[name][address], rel=1e-7, abs=1e-9 * max(map(abs, row.values())))


def test_a_network_that_stands_on_a_frame_gives_the_same(examples):
    circuit = hbsim.load(examples / "beacon_2304.toml")
    networks = Networks()
    state, description = settled(circuit)
    length = description.look_up("match_stub.length")[1]
    for other in (length - 1e-4, length + 1e-4, length + 1e-9, length):
        framed = solved(state, description.with_values({"match_stub.length": other}), networks)
    assert framed.system.network._frame is not None
    figures = {name: item for name, item in figures_of(description).items() if name in ("level", "match", "peak")}
    one, other = gradient(state, figures), gradient(framed, figures)
    for name in figures:
        for address, slope in one[name].items():
            value = abs(description.look_up(address)[1]) or math.inf
            # the two states are rounding apart, and so are their slopes
            assert other[name][address] == pytest.approx(slope, rel=1e-6, abs=FLOOR / value)


def test_what_is_derived_from_a_quantity_moves_with_it(examples, monkeypatch):
    # a part that nobody wrote down, whose value follows from another's: as junctions of strips do
    plain = prepare.elements_of

    def with_derived(description, mounted):
        elements, sources = plain(description, mounted)
        length = description.parts["match_stub"].part.length
        return [*elements, Element("derived", Capacitor(4e-11 * length), ("b_in", "ground"))], sources

    circuit = hbsim.load(examples / "beacon_2304.toml")
    without = gradient(settled(circuit)[0], ["output_dbm_2"], ["match_stub.length"])
    monkeypatch.setattr(prepare, "elements_of", with_derived)
    monkeypatch.setattr(influence, "elements_of", with_derived)
    state, description = settled(circuit)
    assert wrong(state, description, figures_of(description), ["match_stub.length", "match_line.length"]) == []
    moved = gradient(state, ["output_dbm_2"], ["match_stub.length"])
    assert abs(moved["output_dbm_2"]["match_stub.length"] / without["output_dbm_2"]["match_stub.length"] - 1) > 1e-2


def divider(r="30 ohm", load="75 ohm", power="-3 dBm"):
    """A port of 50 ohm, a resistor, a load; no device at all."""
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 GHz", "power": power}, wanted={"port": "output", "harmonic": 1},
        port={"input": {"node": "in"}, "output": {"node": "out", "impedance": load}},
        part={"R": {"kind": "resistor", "nodes": ["in", "out"], "resistance": r}})


def test_a_divider_has_the_slopes_of_its_closed_form():
    # P = 8 R0 P0 (R1 / (R0 + R + R1))^2 / (2 R1), reflection (R + R1 - R0) / (R + R1 + R0); differentiated by hand
    state = divider().solve(harmonics=2)
    r0, r, r1 = 50.0, 30.0, 75.0
    total, db = r0 + r + r1, 20 / math.log(10)
    found = gradient(state, {"level": OutputLevel(1), "match": ReturnLoss(), "phase": OutputPhase(1)})
    level = {"R.resistance": -db / total, "port.output.impedance": db * (0.5 / r1 - 1 / total),
             "port.input.impedance": db * (0.5 / r0 - 1 / total), "drive.power": 1.0, "drive.frequency": 0.0}
    match = {"R.resistance": -db * (1 / (r + r1 - r0) - 1 / total),
             "port.input.impedance": db * (1 / (r + r1 - r0) + 1 / total), "drive.power": 0.0, "drive.frequency": 0.0}
    match["port.output.impedance"] = match["R.resistance"]
    assert set(found["level"]) == set(level)
    for name, expected in (("level", level), ("match", match)):
        for address, slope in expected.items():
            # fourth-order differences of laws and of 1 / (2 R): 1e-11
            assert found[name][address] == pytest.approx(slope, rel=1e-10, abs=1e-13), (name, address)
    assert all(abs(slope) < 1e-13 for slope in found["phase"].values())


def test_a_limit_or_another_form_of_the_law_is_met_from_one_side():
    # below 1 ohm a resistor is written as an impedance, from there on as an admittance; 0 ohm is the lowest
    for ohms in (0.0, 1.0):
        found = gradient(divider(r=f"{ohms} ohm").solve(harmonics=2), ["output_dbm_1"], ["R.resistance"])
        expected = -20 / math.log(10) / (125.0 + ohms)
        assert found["output_dbm_1"]["R.resistance"] == pytest.approx(expected, rel=1e-9)


def test_a_diode_fed_through_a_resistor_has_the_slopes_of_its_dc_law():
    # V = R I + N V_T ln(1 + I / IS) (W. Shockley, Bell Syst. Tech. J. 28 (1949) 435-489), differentiated: with
    # g = (I + IS) / (N V_T), dI/dV = 1 / (R + 1/g), dI/dR = -I dI/dV, dI/dIS = dI/dV N V_T (1/IS - 1/(I + IS)),
    # dI/dN = -dI/dV V_T ln(1 + I / IS). With next to no drive the mean is the DC law.
    circuit = hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 MHz", "power": "-150 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        supply={"V": {"node": "v", "voltage": "5 V"}},
        part={"R": {"kind": "resistor", "nodes": ["v", "d"], "resistance": "2.2 kohm"},
              "C1": {"kind": "capacitor", "nodes": ["in", "d"], "capacitance": "1 pF"},
              "C2": {"kind": "capacitor", "nodes": ["d", "out"], "capacitance": "1 pF"},
              "D": {"kind": "diode", "nodes": {"anode": "d", "cathode": "ground"}, "IS": "1e-14 A", "N": "1.2"}})
    state, description = settled(circuit)
    found = gradient(state, {"amps": SupplyCurrent("V"), "heat": DeviceHeat("D")})
    v_t = 1.380649e-23 / 1.602176634e-19 * 300.15
    amps, r, saturation, n = state.supplies["V"].amps, 2200.0, 1e-14, 1.2
    assert 5.0 == pytest.approx(r * amps + n * v_t * math.log(1 + amps / saturation), rel=1e-12)
    by_volt = 1 / (r + n * v_t / (amps + saturation))
    expected = {"supply.V": by_volt, "R.resistance": -amps * by_volt,
                "D.IS": by_volt * n * v_t * (1 / saturation - 1 / (amps + saturation)),
                "D.N": -by_volt * v_t * math.log(1 + amps / saturation), "supply.V.resistance": -amps * by_volt}
    for address, slope in expected.items():
        # differences of the law at steps of 1.2e-4 of N, the exponent being 26: 1e-10
        assert found["amps"][address] == pytest.approx(slope, rel=1e-8), address
        heat = (5.0 - 2 * r * amps) * slope  # of (V - R I) I
        if address == "supply.V":
            heat += amps
        elif address in ("R.resistance", "supply.V.resistance"):
            heat -= amps**2
        assert found["heat"][address] == pytest.approx(heat, rel=1e-8), address


def test_a_current_that_a_loop_without_resistance_shares_has_no_slope_there():
    parts = {f"L{i}": {"kind": "inductor", "nodes": ["v", "c"], "inductance": "10 nH"} for i in (1, 2)}
    parts |= {"R": {"kind": "resistor", "nodes": ["c", "d"], "resistance": "1 kohm"},
              "C1": {"kind": "capacitor", "nodes": ["in", "d"], "capacitance": "10 pF"},
              "C2": {"kind": "capacitor", "nodes": ["d", "out"], "capacitance": "10 pF"},
              "D": {"kind": "diode", "nodes": {"anode": "d", "cathode": "ground"}}}
    circuit = hbsim.Circuit.build(
        drive={"port": "input", "frequency": "100 MHz", "power": "0 dBm"},
        supply={"V": {"node": "v", "voltage": "2 V"}},
        port={"input": {"node": "in"}, "output": {"node": "out"}}, part=parts)
    state, description = settled(circuit)
    with pytest.raises(Refusal, match="L1.series_resistance.*shared in a loop without resistance"):
        gradient(state, ["output_dbm_2"], ["L1.series_resistance"])
    figures = figures_of(description)
    addresses = list(gradient(state, figures)["level"])
    assert "L1.inductance" in addresses and "L1.series_resistance" not in addresses
    assert wrong(state, description, figures, addresses) == []


def test_refusals_name_what_has_no_slope(examples):
    state = hbsim.load(examples / "lumped_doubler.toml").solve(harmonics=4)
    for address, words in (("C_in.series_resistance", "is not given"), ("Q1.VAX", "no such quantity"),
                           ("Q1.emitter_inductance", "a part or a node comes or goes")):
        with pytest.raises(Refusal, match=f"{address}.*{words}"):
            gradient(state, ["output_dbm_2"], [address])
    endless = hbsim.load(examples / "lumped_doubler.toml").solve({"Q1.VAF": 0.0}, harmonics=4)
    with pytest.raises(Refusal, match="Q1.VAF.*infinite"):
        gradient(endless, ["output_dbm_2"], ["Q1.VAF"])
    with pytest.raises(Refusal, match="output_dbm_2"):
        gradient(state, ["output_dbn_2"])
    with pytest.raises(Refusal, match="harmonic 5 was not solved"):
        gradient(state, ["output_dbm_5"])


def test_figures_by_the_names_of_a_sweep(examples):
    circuit = hbsim.load(examples / "lumped_doubler.toml")
    state = circuit.solve(harmonics=HARMONICS)
    names = [name for name in circuit.sweep({"supply.VCC": [2.0, 2.1]}, harmonics=HARMONICS).columns
             if name.startswith(("output_dbm", "conversion", "input", "supply_amps"))]
    assert len(names) > 5
    table = state.gradient(names, ["supply.VCC"])
    assert list(table) == names
    for name in names:
        alone = gradient(state, {"x": figure(name, state.description)}, ["supply.VCC"])["x"]["supply.VCC"]
        assert table[name]["supply.VCC"] == pytest.approx(alone, rel=1e-12)  # solved for together, and alone


def test_another_value_on_the_same_network_is_not_taken_for_the_first(examples):
    circuit = hbsim.load(examples / "lumped_doubler.toml")
    first, second = (circuit.solve({"Q1.BF": value}, harmonics=HARMONICS) for value in (60.0, 150.0))
    assert first.system.network is second.system.network
    gradient(first, ["supply_amps_VCC"], ["Q1.BF"])
    state = solved(second, second.description, Networks())
    assert wrong(state, second.description, figures_of(second.description), ["Q1.BF"]) == []
    assert replace(second).gradient(["supply_amps_VCC"], ["Q1.BF"])["supply_amps_VCC"]["Q1.BF"] == pytest.approx(
        state.gradient(["supply_amps_VCC"], ["Q1.BF"])["supply_amps_VCC"]["Q1.BF"], rel=1e-6)
