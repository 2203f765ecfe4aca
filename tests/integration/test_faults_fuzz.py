"""Bytes of any kind at every way in, a few hundred each; `tests.bench.fuzz_all` does a million, guided by coverage."""

import tracemalloc

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.bench.fuzz_targets import FACILITY, TARGETS, payload, seeds, wire

SLOW = {"flood", "files", "recording"}


@st.composite
def spoiled(draw, name):
    """A good input with pieces of it gone, doubled, changed or joined to another; or bytes of no kind."""
    good = draw(st.sampled_from([*seeds(name), b""]))
    data = bytearray(good or draw(st.binary(max_size=200)))
    for _ in range(draw(st.integers(0, 6))):
        at = draw(st.integers(0, len(data)))
        size = draw(st.integers(0, 20))
        data[at : at + size] = draw(st.one_of(st.binary(max_size=8), st.just(bytes(data[at : at + size]) * 2)))
    return bytes(data)


@pytest.mark.parametrize("name", TARGETS)
def test_any_bytes_are_read_or_refused_in_words(name):
    @settings(max_examples=60 if name in SLOW else 250, deadline=None, suppress_health_check=list(HealthCheck))
    @given(spoiled(name))
    def try_it(data):
        TARGETS[name](data)

    try_it()


@pytest.mark.parametrize("name", TARGETS)
def test_the_good_inputs_are_good(name):
    for data in seeds(name):
        TARGETS[name](data)


def test_a_stream_without_an_end_and_packs_of_any_depth_take_no_memory():
    endless = b"7" * 300_000
    deep = b'[{"bn":"urn:dev:ops:' + FACILITY.encode() + b'-u1:","x":' + b"[" * 100_000
    many = (
        b"[" + b",".join(b'{"n":"urn:dev:ops:sim-a-u1:flow","u":"l/min","v":1,"t":%d}' % t for t in range(3_000)) + b"]"
    )
    wire(endless[:1_000])  # what is loaded once is no growth
    tracemalloc.start()
    wire(endless)
    for data in (deep, many, many.replace(b'"v":1,', b'"v":999,')):
        payload(data)
    size, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert size < 1_000_000
    assert peak < 30_000_000


@pytest.mark.parametrize("text", ["function = 3\n", 'tuple = "x"\n', "int = 1\n", "[bool]\na = 1\n", "[date]\n"])
@pytest.mark.parametrize("name", ["profile", "site", "ways", "files"])
def test_a_key_with_the_name_of_a_type_is_refused_like_any_other(name, text):
    TARGETS[name](text.encode())
