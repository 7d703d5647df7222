"""The Gummel-Poon transistor against published forms and values."""

import dataclasses
import math

import numpy as np
import pytest
import scipy.optimize
import scipy.special
from helper_devices import FILES, PUBLISHED, at_bias, evaluated, model, transition_frequency

from hbsim.devices.bjt import BJT, crowding
from hbsim.devices.contract import K_OVER_Q
from hbsim.errors import Refusal
from hbsim.quantities import quantities


def law_at(device, v_be, v_bc, v_rb=0.0):
    return evaluated(device, [[v_be], [v_bc], [v_rb], [v_bc], [0.0]])


# Bias points of the published example (CEL data sheet NE856, p. 17) at 300.15 K: values worked out beforehand from the
# formulas of Gummel and Poon as printed in Getreu (1976), derivatives confirmed there to 22 digits.
# v_be, v_bc, I_f, q_b, I_T, I_B, R_bb, TFF
POINTS = [
    (0.70, -3, 5.91052941e-4, 0.898994059, 6.57460341e-4, 4.92937759e-6, 4.13045437, 10.0000423e-12),
    (0.80, -3, 3.05478024e-2, 1.18268493, 2.58291972e-2, 2.54594201e-4, 3.86055465, 10.8552857e-12),
    (0.85, -3, 0.219612355, 2.06150252, 0.106530238, 1.83018240e-3, 3.72273137, 23.3441292e-12),
    (0.85, 0, 0.219612355, 2.85230841, 7.69946034e-2, 1.83018240e-3, 3.72273137, 26.4349449e-12),
    (0.75, 0.40, 4.24916091e-3, 1.36846282, 3.10505865e-3, 3.54206913e-5, 4.03095455, 10.0266994e-12),
    (0.80, 0.60, 3.05478024e-2, 1.76210452, 1.73309860e-2, 2.55326997e-4, 3.86030886, 11.0982086e-12)]
PRINTED = dict(rel=3e-8)  # nine digits printed, two of them multiplied


@pytest.mark.parametrize("v_be, v_bc, i_f, qb, transport, i_b, r_bb, tff", POINTS)
def test_bias_points_of_the_published_example(v_be, v_bc, i_f, qb, transport, i_b, r_bb, tff):
    law = law_at(PUBLISHED, v_be, v_bc, v_rb=0.01)
    total = (law.i + law.t)[:, 0]
    i_bc = PUBLISHED.IS / PUBLISHED.BR * math.expm1(v_bc / (PUBLISHED.NR * K_OVER_Q * 300.15))
    assert law.t[0, 0] == pytest.approx(i_f / qb, **PRINTED)
    assert -total[1] == pytest.approx(transport - i_bc, **PRINTED)  # collector
    assert total[0] + total[1] == pytest.approx(i_b, **PRINTED)  # base
    assert 0.01 / law.i[2, 0] == pytest.approx(r_bb, **PRINTED)
    bare = law_at(dataclasses.replace(PUBLISHED, CJE=0.0), v_be, v_bc)
    assert bare.q[0, 0] == pytest.approx(tff * i_f / qb, **PRINTED)


@pytest.mark.parametrize("v_be, v_bc, q_de, q_dc, q_je, c_je, q_jc, c_jc", [
    (0.70, -3, 6.5748815e-15, -6e-25, 2.33406003e-12, 4.1120979e-12, -1.90860799e-12, 4.40236107e-13),
    (0.80, -3, 2.80383315e-13, -6e-25, 2.76049981e-12, 4.41669774e-12, -1.90860799e-12, 4.40236107e-13),
    (0.85, -3, 2.48685564e-12, -6e-25, 2.98514220e-12, 4.56899766e-12, -1.90860799e-12, 4.40236107e-13),
    (0.75, 0.40, 3.11335158e-14, 3.59329879e-18, 2.54347242e-12, 4.26439782e-12, 5.42192644e-13, 1.7370331e-12),
    (0.80, 0.60, 1.92398282e-13, 8.79355492e-15, 2.76049981e-12, 4.41669774e-12, 9.40214798e-13, 2.24318844e-12)])
def test_charges_of_the_published_example(v_be, v_bc, q_de, q_dc, q_je, c_je, q_jc, c_jc):
    law = law_at(PUBLISHED, v_be, v_bc)
    empty = law_at(dataclasses.replace(PUBLISHED, TF=0.0, TR=0.0), v_be, v_bc)
    assert empty.q[0, 0] == pytest.approx(q_je, **PRINTED)
    assert empty.dq[0, 0, 0] == pytest.approx(c_je, **PRINTED)
    assert law.q[3, 0] == pytest.approx((1 - PUBLISHED.XCJC) * q_jc, **PRINTED)
    assert law.dq[3, 3, 0] == pytest.approx((1 - PUBLISHED.XCJC) * c_jc, **PRINTED)
    assert empty.q[1, 0] == pytest.approx(PUBLISHED.XCJC * q_jc, **PRINTED)
    bare = law_at(dataclasses.replace(PUBLISHED, CJE=0.0, CJC=0.0), v_be, v_bc)
    assert bare.q[0, 0] == pytest.approx(q_de, **PRINTED)
    assert bare.q[1, 0] == pytest.approx(q_dc, **PRINTED)


@pytest.mark.parametrize("v_be, v_bc, g_be, g_bc, c_be, c_bc", [
    (0.70, -3, 2.55998115e-2, -5.86749504e-5, 2.5603082e-13, -5.8675501e-16),
    (0.80, -3, 0.823935135, -2.35910701e-3, 1.04561627e-11, -2.40746595e-14),
    (0.85, -3, 2.68324872, -9.84521158e-3, 1.16099162e-10, -1.31108914e-13),
    (0.80, 0.60, 0.551064481, -2.57004914e-3, 7.4185552e-12, -2.50476814e-14)])
def test_slopes_of_the_published_example(v_be, v_bc, g_be, g_bc, c_be, c_bc):
    # transport slopes: the base-collector branch is -I_T + I_bc; at 0.6 V take out g_r / BR and keep I_T alone
    law = law_at(dataclasses.replace(PUBLISHED, CJE=0.0), v_be, v_bc)
    g_r = PUBLISHED.IS * math.exp(v_bc / (PUBLISHED.NR * K_OVER_Q * 300.15)) / (PUBLISHED.NR * K_OVER_Q * 300.15)
    transport = -(law.di + law.dt)[1, :2, 0] + np.array([0.0, g_r / PUBLISHED.BR])
    # the table gives dI_T/dv_bc with dI_r left out where it is negligible: rows at -3 V; at 0.6 V all of it
    assert transport[0] == pytest.approx(g_be, **PRINTED)
    assert transport[1] == pytest.approx(g_bc, **PRINTED)
    assert law.dq[0, 0, 0] == pytest.approx(c_be, **PRINTED)
    assert law.dq[0, 1, 0] == pytest.approx(c_bc, **PRINTED)
