"""How many readings of a backlog go out at once."""

from collector.bridge.pace import LARGEST, SMALLEST, Pace


def test_prompt_acknowledgements_open_the_window_up_to_a_bound():
    pace = Pace()
    for turn in range(1_000):
        pace.acknowledged(200, turn, turn + 0.01)
    assert pace.window == LARGEST


def test_late_ones_halve_it_once_for_all_that_was_on_its_way_and_never_close_it():
    pace = Pace()
    before = pace.window
    for _ in range(5):
        pace.acknowledged(200, 0.0, 10.0)
    assert pace.window == before / 2
    for turn in range(1, 50):
        pace.acknowledged(10, turn * 100, turn * 100 + 50)
    assert pace.window == SMALLEST


def test_a_thin_line_settles_where_a_pack_waits_neither_long_nor_not_at_all():
    """20 readings a second: what is on its way is what is waited for; it must stay within a few seconds."""
    pace, free_s, now_s = Pace(), 0.0, 0.0
    waits = []
    for _ in range(200):
        packs = max(1, int(pace.window) // 50)
        sent_s = now_s
        for _ in range(packs):
            free_s = max(free_s, sent_s) + 50 / 20
            now_s = free_s
            pace.acknowledged(50, sent_s, now_s)
        waits.append(now_s - sent_s)
    assert max(waits[10:]) < 10
