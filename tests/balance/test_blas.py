"""Linear algebra is held to one thread while the solver runs, and given back afterwards."""

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from hbsim.balance import blas


@pytest.fixture
def threads():
    if blas._library() is None:
        pytest.skip("scipy stands on another library here, which the environment governs")
    read, put = blas._library()
    before = read()
    put(2)
    if read() < 2:
        put(before)
        pytest.skip("this library was built for one thread")
    yield read
    put(before)


def test_one_inside_and_what_it_was_outside(threads):
    with blas.one_thread():
        assert threads() == 1
        with blas.one_thread():
            assert threads() == 1
        assert threads() == 1
    assert threads() == 2


def test_the_last_of_several_threads_gives_back(threads):
    entered, leave, seen = threading.Barrier(3), threading.Event(), []

    def hold():
        with blas.one_thread():
            entered.wait()
            leave.wait()
            seen.append(threads())

    holders = [threading.Thread(target=hold) for _ in range(2)]
    for holder in holders:
        holder.start()
    entered.wait()
    with blas.one_thread():
        pass
    assert threads() == 1  # the others are still inside
    leave.set()
    for holder in holders:
        holder.join()
    assert seen == [1, 1] and threads() == 2


def test_it_is_given_back_when_the_solver_fails(threads):
    with pytest.raises(ValueError), blas.one_thread():
        raise ValueError
    assert threads() == 2


def test_a_solve_runs_with_one():
    program = ("import hbsim, sys\nfrom hbsim.balance import blas, solve\n"
               "if blas._library() is None: sys.exit(5)\n"
               "genuine, seen = solve.prepare, []\n"
               "def spy(*a, **k):\n    seen.append(blas._library()[0]())\n    return genuine(*a, **k)\n"
               "solve.prepare = spy\nhbsim.load(sys.argv[1]).solve(harmonics=4)\n"
               "print(seen, blas._library()[0]())\n")
    root = Path(__file__).parents[2]
    found = os.environ | {"PYTHONPATH": str(root), "OPENBLAS_NUM_THREADS": "2"}
    run = subprocess.run([sys.executable, "-c", program, str(root / "examples" / "lumped_doubler.toml")],
                         capture_output=True, text=True, env=found)
    if run.returncode == 5:
        pytest.skip("scipy stands on another library here")
    assert run.stdout.split() == ["[1]", "2"], run.stderr
