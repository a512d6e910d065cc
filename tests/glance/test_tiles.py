"""The four tiles: whose fault is whose, and that none is well without proof."""

from typing import Any

import pytest

from gateway.glance.shown import HealthShown
from gateway.glance.tiles import Tile, tiles, troubles
from gateway.groundwork.part import Part, PartKind, State
from tests.glance.scenarios import CUT_OFF, DEAF, LATER, NOON, QUIET, RECEIVER, UPLINK, WEB, WELL, health


def by_name(told: HealthShown) -> dict[str, Tile]:
    return {tile.name: tile for tile in tiles(told, LATER)}


def test_they_follow_the_way_of_a_frame_each_with_a_word_and_a_number() -> None:
    assert [(tile.name, tile.word, tile.number) for tile in tiles(health(*WELL), LATER)] == [
        ("antenna", "hearing", "14 a minute"),
        ("decoder", "connected", "7 min ago"),
        ("uplink", "sending", "98% sent"),
        ("house", "all well", "2 readers"),
    ]
    assert list(troubles(tiles(health(*WELL), LATER))) == []


def test_a_receiver_that_hears_less_than_usual_is_the_antennas_and_not_the_decoders() -> None:
    told = by_name(health(QUIET, UPLINK, WEB))
    assert (told["antenna"].word, told["decoder"].word) == ("quiet", "connected")
    assert told["antenna"].why.startswith("receiver vhf: nothing for 40 min")
    assert told["antenna"].do == "the antenna?"


def test_while_no_decoder_answers_nobody_knows_how_the_antenna_is() -> None:
    told = by_name(health(DEAF, UPLINK, WEB))
    assert (told["antenna"].word, told["decoder"].word) == ("not known", "away")
    assert told["decoder"].do == "is the decoder running?"


def test_one_decoder_of_two_is_enough_for_the_antenna_and_the_other_is_still_named() -> None:
    other = Part(PartKind.RECEIVER, "hf", State.DOWN, DEAF.since_ms, DEAF.why, DEAF.do)
    told = by_name(health(RECEIVER, other, UPLINK))
    assert (told["antenna"].word, told["decoder"].word) == ("hearing", "away")
    assert told["decoder"].why.startswith("receiver hf: ")


def test_nothing_is_ok_before_something_was_heard() -> None:
    plain: dict[str, Any] = health(RECEIVER).model_dump()
    plain["activity"] = {"frames_per_minute": 0, "stations_last_hour": 0}
    antenna = by_name(HealthShown.model_validate(plain))["antenna"]
    assert (antenna.word, antenna.why) == ("not known", "nothing was heard yet")
    plain["activity"] = None
    assert by_name(HealthShown.model_validate(plain))["antenna"].word == "not known"


def test_a_post_that_only_listens_has_its_uplink_off_and_that_is_well() -> None:
    told = by_name(health(RECEIVER, WEB))
    assert (told["uplink"].word, told["uplink"].number, told["uplink"].is_well) == (
        "not set up",
        "nothing goes up",
        True,
    )


@pytest.mark.parametrize("kind", [kind for kind in PartKind if kind is not PartKind.RECEIVER])
def test_whatever_part_is_down_some_tile_says_so_and_what_to_do(kind: PartKind) -> None:
    part = Part(kind, kind.value, State.DOWN, RECEIVER.since_ms, "it is broken", "mend it")
    (tile,) = troubles(tiles(health(RECEIVER, part), NOON))
    assert tile.name == ("uplink" if kind in {PartKind.UPLINK, PartKind.CLUB} else "house")
    assert tile.why in {"it is broken", f"{kind}: it is broken"}
    assert tile.do == "mend it"


def test_the_worst_trouble_comes_first() -> None:
    late = Part(PartKind.JOURNAL, "journal", State.DEGRADED, RECEIVER.since_ms, "the disk is slow", "")
    assert [tile.name for tile in troubles(tiles(health(QUIET, CUT_OFF, late), LATER))] == [
        "uplink",
        "house",
        "antenna",
    ]


def test_the_share_that_was_sent_is_never_rounded_up_to_all() -> None:
    plain: dict[str, Any] = health(*WELL).model_dump()
    plain["counts"] |= {"forward": 1000, "waiting": 0, "outcomes": {"sent": 999, "late": 1}}
    assert by_name(HealthShown.model_validate(plain))["uplink"].number == "99% sent"
    plain["counts"] |= {"forward": 1001, "waiting": 1, "outcomes": {"sent": 1000}}
    assert by_name(HealthShown.model_validate(plain))["uplink"].number == "100% sent"
    plain["counts"] |= {"forward": 1, "waiting": 1, "outcomes": {"sent": 0}}
    assert by_name(HealthShown.model_validate(plain))["uplink"].number == "nothing to send yet"


def test_a_hub_without_a_receiver_hears_by_its_posts() -> None:
    club = Part(PartKind.CLUB, "club", State.OK, RECEIVER.since_ms)
    told = by_name(health(club, WEB))
    assert (told["antenna"].word, told["decoder"].word, told["uplink"].word) == ("hearing", "none", "sending")
    silent = by_name(health(club, WEB, frames=0))["antenna"]
    assert (silent.word, silent.why) == ("not known", "no post of the club hands on anything now")


def test_every_tile_has_a_word_for_every_state() -> None:
    for name in by_name(health(*WELL)):
        assert all(Tile(name, state, "").word for state in State)
