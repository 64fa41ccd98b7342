"""The run store in memory."""

from firmware_support import raises

from logger.core.store import MemoryStore, framed


def put(store, data, held=False):
    return store.append(bytearray(data), len(data), held)


def got(store, run, index):
    buffer = bytearray(254)
    return bytes(buffer[: store.read(run, index, buffer)])


def three_runs(capacity=10000):
    store = MemoryStore(capacity)
    for run in (1, 2, 3):
        store.begin(run)
        for index in range(run * 10):
            assert put(store, bytes([run, index]) * (20 + index))
        store.end(bytes([run]) * 32)
    return store


def check(store, run):
    assert store.records(run) == run * 10
    for index in range(run * 10):
        assert got(store, run, index) == bytes([run, index]) * (20 + index)
    assert got(store, run, run * 10) == b""


def test_records_come_back_in_any_order():
    store = three_runs()
    for run in (2, 1, 3):
        check(store, run)
    for index in (9, 0, 5, 5, 4, 8):
        assert got(store, 1, index) == bytes([1, index]) * (20 + index)


def test_what_is_not_there():
    store = three_runs()

    assert got(store, 4, 0) == b""
    assert store.records(4) == 0
    assert store.find(4) == 0
    assert store.sha256(4) is None
    assert not store.complete(4)
    assert not store.erase(4)


def test_sizes_are_those_of_a_file():
    store = MemoryStore(1000)
    store.begin(1)
    put(store, b"x" * 254)
    put(store, b"y" * 12)

    assert store.size(1) == 257 + 15
    assert store.room() == 1000 - 257 - 15


def test_erasing_closes_the_hole_and_leaves_the_others():
    for erased in (1, 2, 3):
        store = three_runs()
        before = store.room()
        size = store.size(erased)
        got(store, 3, 7)
        assert store.erase(erased)

        assert store.room() == before + size
        assert store.runs == 2
        for run in (1, 2, 3):
            if run == erased:
                assert got(store, run, 0) == b""
            else:
                check(store, run)
        assert store.find(0) == (2 if erased == 1 else 1)


def test_numbers_are_not_used_again():
    store = three_runs()
    store.erase(3)

    assert store.last_run == 3
    assert raises(ValueError, store.begin, 3)
    store.begin(4)
    assert raises(ValueError, store.begin, 5)  # the other one is still open


def test_an_open_run_cannot_be_erased_but_others_can_while_it_is_open():
    store = three_runs()
    store.begin(4)
    put(store, b"first")
    assert not store.erase(4)
    assert store.erase(2)
    put(store, b"second")
    store.end(b"h" * 32)

    assert got(store, 4, 0) == b"first"
    assert got(store, 4, 1) == b"second"
    check(store, 3)
    assert store.sha256(4) == b"h" * 32


def test_what_was_promised_stays_free():
    store = MemoryStore(1000)
    store.begin(1)
    store.hold(400)
    while put(store, b"s" * 97):
        pass

    assert store.size(1) == 600
    assert put(store, b"e" * 197, True)
    assert put(store, b"e" * 197, True)
    assert not put(store, b"e", True)
    assert not put(store, b"s")
    assert store.records(1) == 8


def test_space_is_used_again_after_erasing():
    store = MemoryStore(3000)
    for run in range(1, 200):
        store.begin(run)
        assert put(store, bytes([run]) * 250)
        assert put(store, bytes([run]) * 250)
        store.end(bytes(32))
        if run > 4:
            assert store.erase(run - 4)
            assert got(store, run - 1, 1) == bytes([run - 1]) * 250

    assert framed(250) * 2 * 4 == 3000 - store.room()
