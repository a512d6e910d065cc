"""`stile watch`: the live state of a running gateway in a terminal, from what the gateway's own web tells."""
