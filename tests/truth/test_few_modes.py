"""Structures of few modes whose places disagree, closed-form sums: another road than the estimator's. A short form of bench/few_modes.py.

Aims over many structures: recall .97, precision .95, companions of strong modes .02 at most; of these few nothing may be missed, split or too many. Simulated.
"""

import numpy as np

from bench import few_modes
from bench.few_modes import Unit, told
from bench.simulate.few_modes import drawn, taps_of
from tests.every import each


@each("unit", [Unit(0, 1, "test"), Unit(1, 4, "test"), Unit(3, 10, "test")], ids=["1 place", "4 places", "10 places"])
def test_each_mode_is_one_mode_and_no_more(unit):
    one = told(unit)
    assert one["asked"] > 0 and not one["refused"]
    assert (one["found"], one["right"], one["split"]) == (one["asked"], one["given"], 0)


def test_hum_at_one_place_is_hum():
    rng = np.random.default_rng(3)
    sounds, _ = taps_of(drawn("strewn", 1, rng), rng)
    modes = few_modes.heard(sounds).modes
    hum = {round(m.frequency_hz) for m in modes if m.origin == "hum"}
    assert hum & {100, 150, 250}
    assert not any(m.origin == "hum" for m in few_modes.sure(modes))
