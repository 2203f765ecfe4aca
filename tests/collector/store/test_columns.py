"""An hour of readings in a blob comes back bit for bit."""

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.reading import LAMPS, QUANTITIES, Reading
from collector.store import StoreError
from collector.store.columns import LAMP_CODES, Columns, pack, unpack
from tests.collector.store.samples import START, run_of

any_float = st.none() | st.floats(allow_nan=False) | st.integers(-(2**40), 2**40).map(float)
tenths = st.none() | st.integers(-10_000, 10_000).map(lambda i: i / 10)
rows = st.lists(
    st.tuples(st.integers(0, 2**45), *(st.one_of(tenths, any_float) for _ in QUANTITIES), st.integers(0, len(LAMPS))),
    max_size=40,
    unique_by=lambda row: row[0],
)


def bits(row):
    """A row in which -0.0 and 0.0 differ."""
    return [value if value is None or isinstance(value, int) else struct.pack("<d", value) for value in row]


@given(rows)
def test_a_blob_gives_back_every_bit(given_rows):
    given_rows.sort()
    back = unpack(pack(Columns.of_rows(given_rows))).rows()
    assert [bits(row) for row in back] == [bits(row) for row in given_rows]


def test_columns_give_back_the_readings_they_were_made_from():
    readings = [r for r in run_of(0.2) if r.unit == "birch"]
    table = [
        (r.time_ms, *(getattr(r, name) for name in QUANTITIES), LAMP_CODES[r.lamp]) for r in readings
    ]  # fmt: skip
    columns = Columns.of_rows(table)
    assert columns.readings("birch") == readings
    assert columns.time_ms.dtype == np.int64
    assert columns.lamp.dtype == np.int8
    assert bool(np.isnan(columns.volts).any())


def test_an_hour_as_instruments_show_it_takes_less_than_a_tenth_of_its_columns():
    rng = np.random.default_rng(1)
    n = 360
    table = np.full((n, 9), np.nan)
    table[:, 0] = START + np.arange(n) * 10_000
    for place, (middle, spread) in enumerate([(93, 0.2), (4, 0), (340, 3), (30, 0.5), (230, 1)], 1):
        table[:, place] = np.round(rng.normal(middle, spread, n), 1)
    table[:, 8] = 1
    columns = Columns.of_table(table)
    assert len(pack(columns)) < columns.time_ms.nbytes * 9 / 10


def test_joining_keeps_the_earlier_part_of_two_readings_of_one_moment():
    first = Columns.of_rows([(2, 93.0, *[None] * 6, 0), (4, 94.0, *[None] * 6, 0)])
    late = Columns.of_rows([(3, 91.0, *[None] * 6, 0), (4, 90.0, *[None] * 6, 0)])
    joined = Columns.joined([first, late])
    assert joined.time_ms.tolist() == [2, 3, 4]
    assert joined.purity_pct.tolist() == [93.0, 91.0, 94.0]


def test_between_takes_its_start_and_leaves_its_end():
    columns = Columns.of_rows([(at, 93.0, *[None] * 6, 0) for at in (1, 2, 3, 4)])
    assert columns.between(2, 4).time_ms.tolist() == [2, 3]
    assert len(columns.between(5, 9)) == 0


def test_no_readings_are_columns_of_no_length():
    assert unpack(pack(Columns.of_rows([]))).readings("alder") == []


@pytest.mark.parametrize(
    "harm", [lambda b: b[:-9], lambda b: b[:20] + b"\xff\xff" + b[22:], lambda b: b"\x63" + b[1:], lambda b: b""]
)
def test_a_damaged_blob_is_an_error_never_a_wrong_value(harm):
    blob = pack(Columns.of_rows([(START + i, 93.0 + i, *[None] * 6, 0) for i in range(100)]))
    with pytest.raises(StoreError) as caught:
        unpack(harm(blob))
    assert caught.value.kind == "corrupt"
    assert "Restore a backup" in str(caught.value)


def test_an_unknown_lamp_is_not_quietly_dropped():
    with pytest.raises(KeyError):
        LAMP_CODES[Reading("alder", START, lamp="mauve").lamp]
