"""Receivers: one file per kind of source; each turns what a decoder sends into `Heard`."""
