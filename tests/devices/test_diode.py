"""The junction diode against closed forms."""

import dataclasses
import math

import numpy as np
import pytest
import scipy.optimize
import scipy.special
from helper_devices import FILES, evaluated, model

from hbsim.devices.contract import K_OVER_Q
from hbsim.devices.diode import Diode
from hbsim.devices.temperature import silicon_gap
from hbsim.errors import Refusal

# 2 I_k(x) / I_0(x), k = 1..5: K. K. Clarke and D. T. Hess, Communication Circuits, 1971 (tables of the driven junction;
# values worked out beforehand)
BESSEL = {0.5: (0.48499923, 0.060003099, 0.0049744303, 3.0993536e-4, 1.5464598e-5),
          1.0: (0.89277993, 0.21444014, 0.035019386, 0.0043238196, 4.2882943e-4),
          2.0: (1.3955493, 0.60445068, 0.18664795, 0.044506841, 0.0086205849),
          5.0: (1.7867663, 1.2852935, 0.75853148, 0.37505571, 0.15844234),
          10.0: (1.8971997, 1.6205601, 1.2489756, 0.8711747, 0.55203587),
          20.0: (1.949341, 1.8050659, 1.5883278, 1.3285675, 1.0569008)}


@pytest.mark.parametrize("x", BESSEL)
def test_driven_junction_gives_bessel_functions(x):
    # NIST DLMF 10.35.2; scipy.special.iv beside the printed table
    device, n_time = Diode(IS=1e-14, N=1.1, temperature=300.0, TNOM=300.0), 256
    v1 = x * 1.1 * K_OVER_Q * 300.0
    v = 0.4 + v1 * np.cos(2 * np.pi * np.arange(n_time)[None] / n_time)
    harmonics = np.fft.rfft(evaluated(device, v).i[0] + device.IS).real / n_time
    for k, printed in enumerate(BESSEL[x], start=1):
        ratio = 2 * harmonics[k] / harmonics[0]
        assert ratio == pytest.approx(2 * scipy.special.iv(k, x) / scipy.special.iv(0, x), abs=1e-13)
        assert ratio == pytest.approx(printed, rel=1e-7)  # eight digits printed


@pytest.mark.parametrize("v, current, junction", [(0.5, 2.50731614163396e-6, 0.499974926839),
                                                  (0.7, 2.33198624818865e-3, 0.676680137518),
                                                  (5.0, 0.418912364721144, 0.810876352789)])
def test_with_series_resistance_the_lambert_function(v, current, junction):
    # closed form i = (n V_T / R) W(IS R / (n V_T) exp((V + IS R) / (n V_T))) - IS at 300 K, n = 1, R = 10 ohm
    device = Diode(IS=1e-14, RS=10.0, temperature=300.0, TNOM=300.0)
    resistance = device.inside()[0].part.resistance
    found = scipy.optimize.brentq(lambda u: evaluated(device, [[u]]).i[0, 0] - (v - u) / resistance, 0, v, xtol=1e-15)
    assert found == pytest.approx(junction, abs=1e-12)
    assert (v - found) / resistance == pytest.approx(current, rel=1e-9)  # a difference of voltages, v to 1e-15


def test_diffusion_charge_is_transit_time_times_current():
    law = evaluated(Diode(TT=5e-9), [[0.6]])
    assert law.q[0, 0] == 5e-9 * law.i[0, 0]


@pytest.mark.parametrize("v", [-20.0, -1.0, 0.5, 0.985])
def test_pure_varactor_up_to_its_built_in_voltage(v):
    # closed form of the abrupt junction (Sze and Ng, ch. 2): Q = 2 CJO VJ (1 - sqrt(1 - v/VJ))
    device = Diode(IS=0.0, CJO=1e-12, VJ=1.0, M=0.5, FC=0.99)
    law = evaluated(device, [[v]])
    assert law.i[0, 0] == law.di[0, 0, 0] == 0.0
    assert law.q[0, 0] == pytest.approx(2e-12 * (1 - math.sqrt(1 - v)), rel=1e-13)
    assert law.dq[0, 0, 0] == pytest.approx(1e-12 / math.sqrt(1 - v), rel=1e-13)
    assert np.array_equal(device.junctions(), [[0.0, 0.0]])


def test_in_the_cold_the_voltage_runs_towards_the_gap():
    # closed form: at constant current V = EG - (T/Tn)(EG - V_n) - XTI V_T ln(T/Tn), EG and XTI shared out over N
    # (the 1 beside the exponential is 2e-9 of it at this current)
    device, T = Diode(IS=1e-15, N=1.7, EG=1.11, XTI=3.0), 200.0
    current = evaluated(device, [[0.9]]).i[0, 0]
    v = scipy.optimize.brentq(lambda u: evaluated(device.at(T), [[u]]).i[0, 0] - current, 0.5, 1.2, xtol=1e-15)
    ratio = T / 300.15
    assert v == pytest.approx(1.11 - ratio * (1.11 - 0.9) - 3 * K_OVER_Q * T * math.log(ratio), abs=1e-9)


def test_capacitance_moves_with_temperature():
    # Massobrio and Antognetti (from memory), written out: VJ(T), then CJ(T)
    device, T, v_t = Diode(CJO=1e-12, VJ=0.75, M=0.33), 350.0, K_OVER_Q * 350.0
    v0 = (0.75 - silicon_gap(300.15)) * T / 300.15 + silicon_gap(T) - 3 * v_t * math.log(T / 300.15)
    c = evaluated(dataclasses.replace(device, IS=0.0).at(T), [[0.0]]).dq[0, 0, 0]
    assert c == pytest.approx(1e-12 * (1 + 0.33 * (4e-4 * (T - 300.15) - (v0 / 0.75 - 1))), rel=1e-12)


def test_nodes_exist_only_where_something_separates_them():
    assert Diode().branches() == (("anode", "cathode"),)
    assert Diode().inside() == ()
    packaged = Diode(RS=1.0, series_inductance=1e-9, case_capacitance=1e-13)
    assert packaged.branches() == (("a", "cathode"),)
    assert {part.name: part.nodes for part in packaged.inside()} == {
        "RS": ("chip anode", "a"), "series_inductance": ("anode", "chip anode"),
        "case_capacitance": ("anode", "cathode")}


def test_ratings_see_the_peaks():
    found = Diode(VRM=5.0, IF_max=0.1).ratings(np.array([[0.7, -6.0]]), {}, {"anode": np.array([0.15, 0.0])}, 0.05)
    assert [(item.value, item.exceeded) for item in found] == [(6.0, True), (0.15, True), (0.075, False),
                                                              (0.05, False)]


@pytest.mark.parametrize("wrong, place", [({"IS": -1e-15}, "IS"), ({"FC": 1.0}, "FC"), ({"M": 1.0}, "M"),
                                          ({"VJ": 0.0}, "VJ"), ({"TT": math.inf}, "TT")])
def test_what_cannot_be_is_refused_by_name(wrong, place):
    with pytest.raises(Refusal) as refusal:
        Diode(**wrong)
    assert refusal.value.place == place


def test_abrupt_varactor_file_has_the_elastance_of_an_abrupt_junction():
    # closed form: 1/C^2 is a straight line in v (Sze and Ng, ch. 2)
    device = dataclasses.replace(model(next(path for path in FILES if path.stem == "varactor-abrupt")), IS=0.0)
    c = evaluated(device, [[0.0, -10.0, -20.0]]).dq[0, 0]
    assert 1 / c[2] ** 2 - 1 / c[1] ** 2 == pytest.approx(1 / c[1] ** 2 - 1 / c[0] ** 2, rel=1e-12)
    assert device.RS > 0 and device.VRM == 30.0
