"""A device that speaks many times a second is thinned; a new lamp always goes on."""

from collector.bridge.thin import Thin
from collector.reading import Reading
from tests.collector.bridge.plugs import Adapter, Tick, ports_of
from tests.waiting import wait_for


def reading(unit="u1", lamp=None):
    return Reading(unit, 1000, purity_pct=93.4, lamp=lamp)


def test_the_first_in_each_span_goes_on_for_each_unit():
    thin = Thin(5.0)
    kept = [len(thin.turn([reading(), reading("u2")], now_s)) for now_s in (0, 1, 4.9, 5, 9, 10)]
    assert kept == [2, 0, 0, 2, 0, 2]
    assert thin.left_out == 6


def test_a_new_lamp_goes_on_at_once():
    thin = Thin(5.0)
    kept = [thin.turn([reading(lamp=lamp)], 1.0) for lamp in ("green", "green", "red", "red", "green")]
    assert [len(one) for one in kept] == [1, 0, 1, 0, 1]


def test_a_port_says_how_many_it_left_out(tmp_path):
    (tmp_path / "p.toml").write_text('kind = "delimited"\n[field.purity_pct]\nfrom = 1\nin = "%"\n')
    adapter, tick = Adapter(tmp_path / "adapter"), Tick()
    adapter.plug()
    table = {"path": str(adapter.path), "profile": "p.toml", "unit": "u1", "at_most_every_s": 5}
    ports = ports_of(tmp_path, tick, table)
    ports.turn(1000)
    adapter.says(b"x\n93.4\n93.5\n93.6\n")
    found: list = []

    def heard():
        found.extend(ports.turn(1000))
        return ports.state()[0].readings == 3

    wait_for(heard, 5, "three lines")
    assert [one.purity_pct for one in found] == [93.4]
    assert ports.state()[0].left_out == 2
    ports.close()
