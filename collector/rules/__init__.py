"""The rules: pure. (state, reading or tick, now) -> (state, findings); no IO, no clock, no log."""
