"""The way out: what a ward must know now, and that the collector lives."""
