"""How many connections of others there may be, so that the gateway itself can always open a file or a socket."""

import resource

OWN_FILES = 32
"""Some 20 are open with every part on and one receiver."""


def share_of_files(part: float, most: int) -> int:
    """`most`, or `part` of the files that the process may have open beyond its own, if that is fewer; at least one."""
    soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    return most if soft == resource.RLIM_INFINITY else max(1, min(most, int((soft - OWN_FILES) * part)))
