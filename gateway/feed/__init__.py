"""The feed: what the house sees, as plain values. No I/O."""
