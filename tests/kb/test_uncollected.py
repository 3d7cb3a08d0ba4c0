"""The collector rests while much is made, and does not go through all of it at once when it wakes; it finds garbage as before."""

import gc
from weakref import ref

import pytest
from tellmark.kb.uncollected import settled, uncollected


class Itself:
    """Something that holds itself, so that only the collector finds that nobody else does."""

    def __init__(self) -> None:
        self.held = self


@pytest.fixture(params=[True, False], ids=["awake before", "asleep before"])
def awake(request: pytest.FixtureRequest) -> bool:
    return bool(request.param)


def test_collector_is_as_it_was(awake: bool) -> None:
    was = gc.isenabled()
    try:
        (gc.enable if awake else gc.disable)()
        with uncollected():
            assert not gc.isenabled()
            with uncollected():
                pass
            assert not gc.isenabled()
        assert gc.isenabled() == awake
    finally:
        (gc.enable if was else gc.disable)()


def test_what_was_made_is_old_and_garbage_is_still_found() -> None:
    with uncollected():
        made = [[number] for number in range(10_000)]
        garbage = Itself()
    old = {id(one) for one in gc.get_objects(generation=2)}
    assert old.issuperset(map(id, made))
    there = ref(garbage)
    del garbage
    assert there() is not None
    gc.collect()
    assert there() is None


def test_a_process_that_goes_on_looks_at_what_comes_later_when_told() -> None:
    was = gc.isenabled()
    before = Itself()
    try:
        settled()
        with uncollected():
            later = Itself()
        assert (gc.isenabled(), gc.get_freeze_count() > 0) == (False, True)
        old, new = ref(before), ref(later)
        del before, later
        gc.collect()
        assert (old() is None, new() is None) == (False, True)
    finally:
        gc.unfreeze()
        gc.collect()
        (gc.enable if was else gc.disable)()
