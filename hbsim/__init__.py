"""hbsim: harmonic balance for microwave frequency multipliers.

    import hbsim
    circuit = hbsim.load("beacon_2304.toml")
    state = circuit.solve({"drive.power": "3 dBm"})
    state.output_dbm(2)
    table = circuit.sweep({"drive.power": "-20 dBm : 10 dBm : 1 dB"})

The names below are the public surface; they are imported when first used, so that `import hbsim` is quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_PUBLIC = {"Circuit": "studies.circuit", "SteadyState": "balance.solution", "SweepTable": "studies.table",
           "HbsimError": "errors", "Refusal": "errors", "NotSolved": "errors",
           "NetworkResponse": "studies.network_response", "read_touchstone": "linear.touchstone",
           "write_touchstone": "linear.touchstone"}

__all__ = ["load", *_PUBLIC]

def load(path: Any) -> "Circuit":  # noqa: F821
    """Read a circuit file; the same as `Circuit.load`."""
    return import_module(".studies.circuit", __name__).Circuit.load(path)


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(import_module(f".{_PUBLIC[name]}", __name__), name)
    if name == "__version__":
        from importlib.metadata import PackageNotFoundError, version
        try:
            return version("hbsim")
        except PackageNotFoundError:
            return "unknown"  # a source folder that was not installed
    raise AttributeError(f"module 'hbsim' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *_PUBLIC])
