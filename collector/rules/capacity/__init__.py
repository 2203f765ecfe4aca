"""Capacity: the flow up to which a unit still delivers acceptable purity, estimated and forecast; pure."""
