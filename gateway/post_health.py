"""How the parts of this post fare, in the feed's terms: what is wrong, since when, and what the operator can do."""

from collections.abc import Callable
from dataclasses import dataclass

from gateway.part import Part, PartKind, State
from gateway.uplink.state import LOGIN_REFUSED_ADVICE, UplinkState
from gateway.uplink.state import Phase as UplinkPhase

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


def uplink_part(state: UplinkState, wall: WallTime) -> Part:
    """The connection to the network."""
    health = _UPLINK_STATES[state.phase]
    return Part(PartKind.UPLINK, "uplink", health, wall(state.since_ms), state.reason, _uplink_remedy(state, health))


def _uplink_remedy(state: UplinkState, health: State) -> str:
    if state.phase is UplinkPhase.RECEIVE_ONLY:
        return "nothing is sent: give a passcode to send"
    if state.login_refused:
        return LOGIN_REFUSED_ADVICE
    if state.server and health is State.DOWN:
        said = "what the server said may tell why; the next one is tried"
        return said if state.remark else f"can this computer reach {state.server}?"
    return ""


def policy_part(state: PolicyState) -> Part:
    """The policy in force."""
    if not state.refused:
        return Part(PartKind.POLICY, "policy", State.OK, state.since_ms)
    why = f"{state.label} stays in force, for the new one is refused: {state.refused}"
    return Part(PartKind.POLICY, "policy", State.DEGRADED, state.since_ms, why, "mend it and reload")
