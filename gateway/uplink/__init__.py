"""The uplink: the connection to the network, at most once and never late."""
