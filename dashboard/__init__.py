"""The dashboard: what people see, and what they do about it."""
