"""Calls from compiled code to functions known only by their address: device laws and LAPACK.

An address is an ordinary run-time number, so one compiled solver serves every device and is found in numba's cache
by the next process; a compiled function handed over as an argument would be compiled again (DEVELOPERS.md).
With NUMBA_DISABLE_JIT=1 the same names are plain Python, for debugging and for the test "compiled = plain".
"""

from __future__ import annotations

import numpy as np
from numba import config, njit, types
from numba.core import cgutils
from numba.extending import intrinsic

if config.DISABLE_JIT:
    from scipy.linalg import lapack

    _plain_laws: dict[int, object] = {}

    def law_address(device_class: type) -> int:
        """A number that stands for the device's law."""
        key = id(device_class)
        _plain_laws[key] = device_class.evaluate
        return key

    def call_law(address, v, p, i, q, t, di, dq, dt):
        """Fill i, q, t and their derivatives, each (n_branch^2 or more, n_time); see devices/contract.py."""
        n, n_time = v.shape
        cubes = [slopes[:n * n].reshape(n, n, n_time) for slopes in (di, dq, dt)]
        _plain_laws[int(address)](v, p, i, q, t, *cubes)

    def lapack_addresses() -> np.ndarray:
        """Stand-in: plain Python needs no addresses."""
        return np.zeros(2, np.int64)

    def lu_factor(addresses, a, pivots) -> int:
        """Factor the transpose of `a` in place (LAPACK counts columns first); 0 when it went well."""
        lu, piv, info = lapack.dgetrf(a.T)
        a[:] = lu.T
        pivots[:] = piv
        return info

    def lu_solve(addresses, a, pivots, b) -> None:
        """Solve a x = b in place, with `a` from `lu_factor`."""
        x, _ = lapack.dgetrs(a.T, pivots, b, trans=1)
        b[:] = x
else:
    def law_address(device_class: type) -> int:
        """Address of the device's compiled law."""
        return device_class.address

    @intrinsic
    def _call_law_pointer(typingctx, address, v, p, i, q, t, di, dq, dt, n_time):
        sig = types.void(types.int64, *([types.uintp] * 8), types.int64)

        def codegen(context, builder, signature, args):
            from llvmlite import ir
            double_p = ir.DoubleType().as_pointer()
            fn_type = ir.FunctionType(ir.VoidType(), [double_p] * 8 + [ir.IntType(64)])
            fn = builder.inttoptr(args[0], fn_type.as_pointer())
            builder.call(fn, [builder.inttoptr(arg, double_p) for arg in args[1:9]] + [args[9]])
            return context.get_dummy_value()

        return sig, codegen

    @njit(cache=True, inline="never")
    def call_law(address, v, p, i, q, t, di, dq, dt):
        """Fill i, q, t and their derivatives, each (n_branch^2 or more, n_time); see devices/contract.py."""
        _call_law_pointer(address, v.ctypes.data, p.ctypes.data, i.ctypes.data, q.ctypes.data, t.ctypes.data,
                          di.ctypes.data, dq.ctypes.data, dt.ctypes.data, v.shape[1])

    def lapack_addresses() -> np.ndarray:
        """Addresses of LAPACK's dgetrf and dgetrs as scipy carries them."""
        from numba.extending import get_cython_function_address
        return np.array([get_cython_function_address("scipy.linalg.cython_lapack", name)
                         for name in ("dgetrf", "dgetrs")], np.int64)

    def _pointer_call(context, builder, address, pointers):
        from llvmlite import ir
        byte_p = ir.IntType(8).as_pointer()
        fn_type = ir.FunctionType(ir.VoidType(), [byte_p] * len(pointers))
        fn = builder.inttoptr(address, fn_type.as_pointer())
        builder.call(fn, [builder.bitcast(p, byte_p) for p in pointers])

    def _stored(builder, value):
        slot = cgutils.alloca_once(builder, value.type)
        builder.store(value, slot)
        return slot

    @intrinsic
    def _dgetrf(typingctx, address, n, a, pivots):
        def codegen(context, builder, signature, args):
            from llvmlite import ir
            byte_p = ir.IntType(8).as_pointer()
            n_slot = _stored(builder, args[1])
            info = _stored(builder, ir.Constant(ir.IntType(32), 0))
            a_p, piv_p = (builder.inttoptr(arg, byte_p) for arg in args[2:])
            _pointer_call(context, builder, args[0], [n_slot, n_slot, a_p, n_slot, piv_p, info])
            return builder.load(info)

        return types.int32(types.int64, types.int32, types.uintp, types.uintp), codegen

    @intrinsic
    def _dgetrs(typingctx, address, n, a, pivots, b):
        def codegen(context, builder, signature, args):
            from llvmlite import ir
            byte_p = ir.IntType(8).as_pointer()
            n_slot = _stored(builder, args[1])
            one = _stored(builder, ir.Constant(ir.IntType(32), 1))
            info = _stored(builder, ir.Constant(ir.IntType(32), 0))
            letter = _stored(builder, ir.Constant(ir.IntType(8), ord("T")))
            a_p, piv_p, b_p = (builder.inttoptr(arg, byte_p) for arg in args[2:])
            _pointer_call(context, builder, args[0], [letter, n_slot, one, a_p, n_slot, piv_p, b_p, n_slot, info])
            return context.get_dummy_value()

        return types.void(types.int64, types.int32, types.uintp, types.uintp, types.uintp), codegen

    @njit(cache=True, inline="never")
    def lu_factor(addresses, a, pivots):
        """Factor the transpose of `a` in place (LAPACK counts columns first); 0 when it went well."""
        return _dgetrf(addresses[0], np.int32(a.shape[0]), a.ctypes.data, pivots.ctypes.data)

    @njit(cache=True, inline="never")
    def lu_solve(addresses, a, pivots, b):
        """Solve a x = b in place, with `a` from `lu_factor`."""
        _dgetrs(addresses[1], np.int32(a.shape[0]), a.ctypes.data, pivots.ctypes.data, b.ctypes.data)
