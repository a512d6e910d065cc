"""How the parts of this post fare, in the feed's terms: what is wrong, since when, and what the operator can do."""

from collections.abc import Callable
from dataclasses import dataclass

from gateway.part import Part, PartKind, State
from gateway.uplink.state import Phase as UplinkPhase
from gateway.uplink.state import UplinkState

WallTime = Callable[[int], int]
"""Unix milliseconds of an elapsed time of this run."""


@dataclass(frozen=True, slots=True)
class PolicyState:
    """Which policy is in force, and whether a newer one was refused."""

    label: str
    since_ms: int
    """Unix milliseconds."""

    refused: str = ""
    """Why the newer one cannot be used; empty where there is none."""


_UPLINK_STATES = {
    UplinkPhase.WAITING: State.DOWN,
    UplinkPhase.CONNECTING: State.DOWN,
    UplinkPhase.LOGGING_IN: State.DEGRADED,
    UplinkPhase.VERIFIED: State.OK,
    UplinkPhase.UNVERIFIED: State.DEGRADED,
    UplinkPhase.RECEIVE_ONLY: State.OK,
    UplinkPhase.STOPPED: State.DOWN,
}

_UPLINK_REMEDIES = {
    UplinkPhase.UNVERIFIED: "check that the callsign is the one that the passcode was given for, then restart",
    UplinkPhase.RECEIVE_ONLY: "nothing is sent: give a passcode to send",
}


def uplink_part(state: UplinkState, wall: WallTime) -> Part:
    """The connection to the network."""
    health = _UPLINK_STATES[state.phase]
    unreachable = f"can this computer reach {state.server}?" if state.server and health is State.DOWN else ""
    remedy = _UPLINK_REMEDIES.get(state.phase, unreachable)
    return Part(PartKind.UPLINK, "uplink", health, wall(state.since_ms), state.reason, remedy)


def policy_part(state: PolicyState) -> Part:
    """The policy in force."""
    if not state.refused:
        return Part(PartKind.POLICY, "policy", State.OK, state.since_ms)
    why = f"{state.label} stays in force, for the new one is refused: {state.refused}"
    return Part(PartKind.POLICY, "policy", State.DEGRADED, state.since_ms, why, "mend it and reload")
