"""One of each fault in a county of real processes, one after the other. The bench of faults does it at random."""

import asyncio

import pytest

pytest.importorskip("nats")

from tests.club.county import FAULTS, FRESHNESS_SECONDS, TAKE_OVER_SECONDS, county

HARM_SECONDS = 1.0
"""At least: where another hub must send, until it does."""


@pytest.mark.timeout(900)
async def test_whatever_is_harmed_nothing_goes_twice_or_late_and_every_frame_is_accounted_for() -> None:
    async with county(draw=1) as place:
        for harm, part in FAULTS:
            hearing = asyncio.create_task(place.hear(600.0))
            lost = await place.suffer(harm, part, HARM_SECONDS)
            await place.until_all_is_well()
            assert lost not in place.holders, "who comes back stands by"
            place.hearing = False
            await hearing
        await asyncio.sleep(FRESHNESS_SECONDS + 1)  # what waited has come to its end
        account = place.account()
        assert account.faults == []
        assert account.arrived > account.offered / 2
        assert max(place.take_overs) < TAKE_OVER_SECONDS
