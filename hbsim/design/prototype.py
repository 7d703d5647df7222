"""Low-pass prototypes: element values, and the response that an ideal filter would have.

G. L. Matthaei, L. Young, E. M. T. Jones, Microwave Filters, Impedance-Matching Networks, and Coupling Structures,
McGraw-Hill 1964, secs. 4.03 and 4.05 (from memory; the values agree with the tables printed there).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import Refusal
from ..quantities import show

MOST = 9  # resonators
HALF_POWER_DB = 10.0 * math.log10(2.0)


@dataclass(frozen=True)
class Prototype:
    """A low-pass prototype.

    Parameters
    ----------
    order : int
        1 to 9.
    ripple_db : float
        Chebyshev ripple in the pass-band; 0: maximally flat. [dB]

    Raises
    ------
    Refusal
        Another order, a negative ripple, or one of 3 dB and more.
    """

    order: int
    ripple_db: float = 0.0

    def __post_init__(self) -> None:
        if not 1 <= self.order <= MOST:
            raise Refusal(f"{self.order} resonators are not possible here; take 1 to {MOST}", "order")
        if self.ripple_db != 0.0 and not 1e-3 <= self.ripple_db <= 3.0:
            raise Refusal(f"a ripple of {show(self.ripple_db, 'dB')} is not sensible; take 0.001 dB to 3 dB, or leave "
                          f"it out for a maximally flat response", "ripple")

    @property
    def edge_db(self) -> float:
        """Loss at the band edge: the ripple, or half the power of a maximally flat filter. [dB]"""
        return self.ripple_db or HALF_POWER_DB

    @property
    def values(self) -> tuple[float, ...]:
        """g0 to g(n+1), for an edge at 1 rad/s. [1]"""
        n = self.order
        a = [math.sin((2 * k - 1) * math.pi / (2 * n)) for k in range(1, n + 1)]
        if not self.ripple_db:
            return 1.0, *(2.0 * value for value in a), 1.0
        beta = math.log(1.0 / math.tanh(self.ripple_db * math.log(10.0) / 40.0))  # printed with 17.37 for 40/ln 10
        gamma = math.sinh(beta / (2 * n))
        b = [gamma**2 + math.sin(k * math.pi / n) ** 2 for k in range(1, n + 1)]
        g = [1.0, 2.0 * a[0] / gamma]
        for k in range(1, n):
            g.append(4.0 * a[k - 1] * a[k] / (b[k - 1] * g[k]))
        return *g, 1.0 if n % 2 else 1.0 / math.tanh(beta / 4.0) ** 2

    def loss_db(self, omega: np.ndarray) -> np.ndarray:
        """Insertion loss at `omega`, 1 at the edge, negative ones allowed. [1] -> [dB]"""
        omega = np.abs(np.asarray(omega, float))
        if not self.ripple_db:
            return 10.0 * np.log10(1.0 + omega ** (2 * self.order))
        inside = np.cos(self.order * np.arccos(np.minimum(omega, 1.0)))
        outside = np.cosh(self.order * np.arccosh(np.maximum(omega, 1.0)))
        ripple = 10.0 ** (self.ripple_db / 10.0) - 1.0
        return 10.0 * np.log10(1.0 + ripple * np.where(omega <= 1.0, inside, outside) ** 2)
