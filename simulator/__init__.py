"""The simulator: an invented fleet of concentrators, their physics and their faults. It is never evidence."""
