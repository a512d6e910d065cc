"""Captures judged again: what a policy would have done with what was heard, and how two policies differ.

A replay decides exactly as the live gateway did: it hands the judge the same frames, in the same order, with the same
times, and starts its memory afresh where the gateway did.
"""
