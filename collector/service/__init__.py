"""Service of the units, pure: what is due, when to go, what it takes, what came of it. Journal rows are handed in."""
