"""A broken Touchstone file is refused in words, or read to finite numbers; nothing else ever happens."""

import touchstone_mutations


def test_a_hundred_thousand_broken_files():
    outcome = touchstone_mutations.read_mutated(100_000, seed=20260126)
    # both must occur often, or the mutations would be too mild or too rough to find anything
    assert outcome["read"] > 10_000 and outcome["refused"] > 50_000
