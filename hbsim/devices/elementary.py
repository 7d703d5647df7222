"""Exponential and logarithm without a branch, so that a loop over samples takes several of them at a time.

The library's are called sample by sample, which costs several times as much. Both are good to 2 units in the last
place (tests/devices/test_elementary.py). Sources: the reduction by powers of two is textbook matter (J.-M. Muller,
Elementary Functions, 3rd ed., Birkhaeuser, 2016, ch. 11, from memory); the series are Taylor's.
"""

from __future__ import annotations

import numpy as np
from numba import config, njit, types

_LOG_2 = 0.6931471805599453
_LOG_2_HIGH = float.fromhex("0x1.62e42feep-1")  # its first 32 bits: times a small integer it is exact
_LOG_2_LOW = float.fromhex("0x1.a39ef35793c76p-33")  # the rest
_INTEGERS = 1.5 * 2.0**52  # numbers about here are integers, and stand in the last bits
_MANTISSA = 52  # bits of it; above them stands the power of two
_LOWEST = int(np.float64(np.sqrt(0.5)).view(np.int64))  # bits of the lowest number that is taken as it is
_INTEGERS_BITS = int(np.float64(_INTEGERS).view(np.int64))

if config.DISABLE_JIT:
    def _bits(x):
        return np.float64(x).view(np.int64)

    def _number(bits):
        return np.int64(bits).view(np.float64)
else:
    from numba.extending import intrinsic

    @intrinsic
    def _bits(typingctx, x):
        """The 64 bits of a number, as an integer."""
        def codegen(context, builder, signature, args):
            return builder.bitcast(args[0], context.get_value_type(types.int64))

        return types.int64(types.float64), codegen

    @intrinsic
    def _number(typingctx, bits):
        """The number that these 64 bits are."""
        def codegen(context, builder, signature, args):
            return builder.bitcast(args[0], context.get_value_type(types.float64))

        return types.float64(types.int64), codegen


@njit(types.float64(types.float64), cache=True, error_model="numpy", forceinline=True)
def exponential(x):
    """exp(x) for -700 <= x <= 700; outside that it is no number of any use.

    x = n ln 2 + r with |r| <= ln(2) / 2, exp(r) by its series to r^13, whose rest is below 2^-57."""
    shifted = x * (1.0 / _LOG_2) + _INTEGERS
    n = shifted - _INTEGERS
    r = (x - n * _LOG_2_HIGH) - n * _LOG_2_LOW
    p = 1 / 3628800 + r * (1 / 39916800 + r * (1 / 479001600 + r * (1 / 6227020800)))
    p = 1 / 5040 + r * (1 / 40320 + r * (1 / 362880 + r * p))
    p = 1 / 6 + r * (1 / 24 + r * (1 / 120 + r * (1 / 720 + r * p)))
    y = 1.0 + (r + r * r * (0.5 + r * p))
    return _number(_bits(y) + ((_bits(shifted) - _INTEGERS_BITS) << _MANTISSA))


@njit(types.float64(types.float64), cache=True, error_model="numpy", forceinline=True)
def logarithm(x):
    """ln(x) for normal numbers above zero.

    x = 2^n (1 + f) with 1 + f from sqrt(1/2) to sqrt(2), and ln(1 + f) = 2 artanh(s), s = f / (2 + f), by its series to
    s^21; its first term 2 s is written f - s f, for f is exact."""
    bits = _bits(x)
    n = (bits - _LOWEST) >> _MANTISSA
    f = _number(bits - (n << _MANTISSA)) - 1.0
    s = f / (2.0 + f)
    z = s * s
    rest = 2 / 15 + z * (2 / 17 + z * (2 / 19 + z * (2 / 21)))
    rest = 2 / 7 + z * (2 / 9 + z * (2 / 11 + z * (2 / 13 + z * rest)))
    rest = z * (2 / 3 + z * (2 / 5 + z * rest))
    power = _number(n + _INTEGERS_BITS) - _INTEGERS
    return power * _LOG_2_HIGH + (f - (s * (f - rest) - power * _LOG_2_LOW))
