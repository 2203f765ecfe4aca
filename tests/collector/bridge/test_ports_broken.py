"""A line that breaks in the middle of a turn: what was read before it is kept."""

import errno

from collector.bridge.ports import Ports
from tests.collector.bridge.plugs import Tick, bridge_file

PROFILE = 'kind = "delimited"\n[poll]\nrequest = "?"\ntimeout_s = 1\n[field.purity_pct]\nfrom = 1\nin = "%"\n'


class Breaking:
    """Answers the first request, and is gone at the second."""

    def __init__(self):
        self.requests, self.says = 0, b"93.4\n"

    def read(self, size):
        return self.says if self.requests == 1 else b""

    def write(self, data):
        self.requests += 1
        if self.requests == 2:
            raise OSError(errno.EIO, "gone")
        return len(data)

    def fileno(self):
        raise OSError(errno.EBADF, "no number")

    def reset_input_buffer(self):
        pass

    def close(self):
        raise OSError(errno.EIO, "gone")


def test_what_was_read_before_the_line_broke_is_given_on(tmp_path):
    (tmp_path / "p.toml").write_text(PROFILE)
    tick, line = Tick(), Breaking()
    table = {"path": "/dev/none", "profile": "p.toml", "unit": "u1"}
    ports = Ports(bridge_file(table), tmp_path, tick, lambda _: line)
    assert ports.turn(1000) == []
    tick.advance(0.5)
    (reading,) = ports.turn(2000)
    assert (reading.time_ms, reading.purity_pct) == (2000, 93.4)
    tick.advance(10)
    line.says = b"93.5\n"
    assert [r.purity_pct for r in ports.turn(12_000)] == [93.5]
    assert not ports.state()[0].open
    assert ports.filenos() == []
    ports.close()
