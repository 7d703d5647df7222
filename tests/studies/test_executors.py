"""Who solves a sweep makes no difference: one thread, several, other processes, or a cluster's executor."""

import multiprocessing
import os
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.errors import Refusal

AXES = {"L_c.inductance": ["2 nH", "2.5 nH"], "supply.VCC": "1:4:0.5V", "drive.power": "-10:10:0.5dBm"}


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


@pytest.fixture(scope="module")
def alone(circuit):
    with ThreadPoolExecutor(1) as one:
        return circuit.sweep(AXES, executor=one)


def assert_same(table, other):
    for name, column in table.columns.items():
        np.testing.assert_array_equal(column, other.columns[name], err_msg=name)
    assert table.iterations == other.iterations and table.reasons == other.reasons


def test_threads(circuit, alone):
    assert alone.solved.all() and not alone.unsettled.any()
    with ThreadPoolExecutor(3) as several:
        assert_same(alone, circuit.sweep(AXES, executor=several))
    assert_same(alone, circuit.sweep(AXES))  # a thread for each core


def test_a_process_pool(circuit, alone, monkeypatch):
    # A fresh process finds hbsim where this one did.
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(Path(hbsim.__file__).parent.parent),
                                                      os.environ.get("PYTHONPATH", "")]))
    told = []
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as pool:
        table = circuit.sweep(AXES, executor=pool, progress=lambda *n: told.append(n))
    assert_same(alone, table)
    assert [done for done, _ in told] == sorted(done for done, _ in told) and told[-1] == (574, 574)


class Backwards:
    """An executor that runs what it is given last first; of Executor it has what a sweep needs."""

    def __init__(self):
        self.calls = []

    def submit(self, function, *arguments):
        future = Future()
        self.calls.append((future, function, arguments))
        if len(self.calls) == 3:  # a sweep of this size hands out all its strips before it waits
            for future_, function_, arguments_ in reversed(self.calls):
                future_.set_result(function_(*arguments_))
            self.calls.clear()
        return future


def test_order_makes_no_difference(circuit, alone):
    assert_same(alone, circuit.sweep(AXES, executor=Backwards()))


def test_what_fails_in_a_worker_comes_out(circuit):
    class Broken(ThreadPoolExecutor):
        def submit(self, function, *arguments):
            return super().submit(lambda: 1 / 0)

    with Broken(1) as broken, pytest.raises(ZeroDivisionError):
        circuit.sweep(AXES, executor=broken)


def test_samples_alone_are_refused(circuit):
    with pytest.raises(Refusal, match="samples are chosen together with the harmonics"):
        circuit.sweep(AXES, samples=64)
