"""What is stored, carried outwards by a process of its own beside the collector."""
