from typing import Annotated

import pytest
from pydantic import ValidationError

from gateway.documents.values import Duration, Kilometres, Name, OneOrMore, Section, between


class Watch(Section):
    name: Name = "a"
    period: Annotated[Duration, between("1m", "2h")] = 60_000
    within: Kilometres = 0.0
    whom: OneOrMore[str] | None = None


def test_unknown_keys_are_errors_and_what_was_read_stays_as_it_is() -> None:
    with pytest.raises(ValidationError, match="extra_forbidden"):
        Watch.model_validate({"nmae": "a"})
    with pytest.raises(ValidationError, match="frozen"):
        Watch().name = "b"  # type: ignore[misc] # that is what is tried


def test_no_error_quotes_what_was_written() -> None:
    with pytest.raises(ValidationError) as error:
        Watch.model_validate({"whom": {"a secret": "that slipped"}})
    assert "that slipped" not in str(error.value)


@pytest.mark.parametrize(("text", "milliseconds"), [("1m", 60_000), ("90 s", 90_000), ("2h", 7_200_000)])
def test_a_length_of_time_is_a_number_and_its_unit(text: str, milliseconds: int) -> None:
    assert Watch.model_validate({"period": text}).period == milliseconds


@pytest.mark.parametrize("text", [90, "90", "s", "-1m", "1.5h", "1w", "59s", "3h", "9999999999d", None])
def test_what_is_none_or_out_of_bounds_is_refused(text: object) -> None:
    with pytest.raises(ValidationError, match=r"is no length of time|this should be from 1m to 2h"):
        Watch.model_validate({"period": text})


@pytest.mark.parametrize(("text", "kilometres"), [("300km", 300.0), ("500 m", 0.5), ("0.25km", 0.25)])
def test_a_distance_is_a_number_and_its_unit(text: str, kilometres: float) -> None:
    assert Watch.model_validate({"within": text}).within == kilometres


@pytest.mark.parametrize(("written", "read"), [("QA1BCD", ["QA1BCD"]), (["QA1BCD", "QB2CDE"], ["QA1BCD", "QB2CDE"])])
def test_one_value_stands_for_a_list_of_one(written: object, read: list[str]) -> None:
    assert Watch.model_validate({"whom": written}).whom == read


def test_an_empty_list_means_nothing_and_is_refused() -> None:
    with pytest.raises(ValidationError, match="at least 1"):
        Watch.model_validate({"whom": []})


@pytest.mark.parametrize("name", ["", "Bench", "-a", "a_b", "a" * 64, "a\n"])
def test_a_name_is_small_letters_digits_and_hyphens(name: str) -> None:
    with pytest.raises(ValidationError, match="is no name"):
        Watch.model_validate({"name": name})
