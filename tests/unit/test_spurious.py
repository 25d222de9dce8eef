"""The poles judged all at once are judged as one by one."""

import numpy as np

from tapscan.signal.fit.spurious import MIXTURE, echoes, explained


def test_echoes_are_those_whose_pattern_the_neighbours_hold():
    found = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        many = 12
        f, d = np.sort(rng.uniform(500, 620, many)), rng.uniform(2, 20, many)
        a = rng.standard_normal((many, 60)) + 1j * rng.standard_normal((many, 60))
        for i in range(0, many - 1, 2):  # every second one is nearly a mixture of its neighbours
            a[i] = 0.05 * a[i + 1] + 0.03 * a[i - 1] + 0.02 * rng.standard_normal(60)
        a[3] = a[5]
        one_by_one = [
            explained(a[i], f[i], d[i], (np.delete(f, i), np.delete(d, i), np.delete(a, i, axis=0)), 20) > MIXTURE
            for i in range(many)
        ]
        assert echoes(f, d, a, 20).tolist() == one_by_one
        found += sum(one_by_one)
    assert 40 < found < 400
