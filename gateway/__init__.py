"""Stile: the gateway between a listening post's radio decoder, the position-reporting network, and the house."""

__version__ = "0.2.0"
