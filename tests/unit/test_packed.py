"""What goes between processes by memory that both see is what was handed over, and nobody else's."""

import pickle

import numpy as np
import pytest

from tapscan.workers.packed import LARGE_BYTES, PLACE_BYTES, PLACES, Shared, packed, unpacked
from tests.every import each

LARGE = np.arange(LARGE_BYTES, dtype=float)
ITEMS = {
    "large": [LARGE, "beside it", LARGE[::-1].copy()],
    "small": [np.arange(3.0), 1 + 2j, None],
    "not in one piece": [LARGE.reshape(8, -1)[:, 1:3]],
    "columns first": [np.asfortranarray(LARGE.reshape(8, -1))],
    "nothing in it": [np.empty((0, 5)), np.empty(0, dtype=complex)],
    "float32 and bytes": [LARGE.astype(np.float32), bytes(LARGE_BYTES)],
}


@each("item", ITEMS.values())
@each("place", [None, *range(PLACES)])
def test_what_was_sent_arrives(item, place):
    shared = Shared()
    back, told = unpacked(packed(item, shared, place), shared)
    assert told == place
    assert all(np.array_equal(a, b) for a, b in zip(back, item, strict=True))
    assert [getattr(x, "dtype", None) for x in back] == [getattr(x, "dtype", None) for x in item]


def test_large_arrays_do_not_go_by_the_pipe():
    assert len(packed([LARGE] * 4, Shared(), 0)) < LARGE.nbytes < len(packed([LARGE], Shared(), None))


def test_what_is_too_large_for_the_memory_goes_by_the_pipe():
    shared, item = Shared(), np.ones(PLACE_BYTES // 8 + 1)
    told = packed(item, shared, 0)
    assert len(told) > PLACE_BYTES
    assert np.array_equal(unpacked(told, shared)[0], item)


def test_places_do_not_overlap_and_what_arrived_stays_as_it_was():
    shared = Shared()
    whole = np.zeros(PLACE_BYTES // 8)
    sent = [packed(whole + place, shared, place) for place in range(PLACES)]
    back = [unpacked(one, shared)[0] for one in sent]
    for place in range(PLACES):
        packed(whole - 1, shared, place)
    assert [set(one.tolist()) for one in back] == [{float(place)} for place in range(PLACES)]
    back[0] += 1  # it is the receiver's own


def test_what_cannot_be_sent_raises():
    with pytest.raises((pickle.PicklingError, AttributeError, TypeError)):
        packed(lambda: None, Shared(), 0)
