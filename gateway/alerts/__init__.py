"""Alerts: what the operator wants to be told of at once. No I/O, no clock."""
