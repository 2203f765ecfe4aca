"""Trying changed limits on the past, side by side with today's."""
