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
        ("antenna", "ok", "14 a minute"),
        ("decoder", "ok", "7 min ago"),
        ("uplink", "ok", "99% sent"),
        ("house", "ok", "2 readers"),
    ]
    assert list(troubles(tiles(health(*WELL), LATER))) == []


def test_a_receiver_that_hears_less_than_usual_is_the_antennas_and_not_the_decoders() -> None:
    told = by_name(health(QUIET, UPLINK, WEB))
    assert (told["antenna"].word, told["decoder"].word) == ("quiet", "ok")
    assert told["antenna"].why.startswith("receiver vhf: nothing for 40 min")
    assert told["antenna"].do == "the antenna?"


def test_while_no_decoder_answers_nobody_knows_how_the_antenna_is() -> None:
    told = by_name(health(DEAF, UPLINK, WEB))
    assert (told["antenna"].word, told["decoder"].word) == ("waiting", "down")
    assert told["decoder"].do == "is the decoder running?"


def test_one_decoder_of_two_is_enough_for_the_antenna_and_the_other_is_still_named() -> None:
    other = Part(PartKind.RECEIVER, "hf", State.DOWN, DEAF.since_ms, DEAF.why, DEAF.do)
    told = by_name(health(RECEIVER, other, UPLINK))
    assert (told["antenna"].word, told["decoder"].word) == ("ok", "down")
    assert told["decoder"].why.startswith("receiver hf: ")


def test_nothing_is_ok_before_something_was_heard() -> None:
    plain: dict[str, Any] = health(RECEIVER).model_dump()
    plain["activity"] = {"frames_per_minute": 0, "stations_last_hour": 0}
    antenna = by_name(HealthShown.model_validate(plain))["antenna"]
    assert (antenna.word, antenna.do) == ("waiting", "does the radio hear anything?")
    plain["activity"] = None
    assert by_name(HealthShown.model_validate(plain))["antenna"].word == "waiting"


def test_a_post_that_only_listens_has_its_uplink_off_and_that_is_well() -> None:
    told = by_name(health(RECEIVER, WEB))
    assert (told["uplink"].word, told["uplink"].number, told["uplink"].is_well) == ("off", "nothing goes up", True)


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
