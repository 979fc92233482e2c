from __future__ import annotations

import pytest

from slackwater.fitting.serving.door import Door, TooManyTriesError


def test_each_visitor_gets_a_cookie_and_a_token_of_its_own() -> None:
    door = Door()
    one, other = door.enter(door.secret), door.enter(door.secret)
    assert one
    assert other
    assert len({one, other, door.token(one), door.token(other), door.secret}) == 5
    assert door.enter("") is door.enter("é") is None
    assert door.token("") is door.token(door.secret) is None


def test_a_code_lets_one_in_once_and_not_for_long() -> None:
    now = 0.0
    door = Door(lambda: now)
    code = door.new_code()
    assert door.enter_by_code(code.upper())
    assert door.enter_by_code(code) is None
    code = door.new_code()
    now = 601.0
    assert door.enter_by_code(code) is None


def test_guessing_is_slowed_more_and_more() -> None:
    now = 0.0
    door = Door(lambda: now)
    code, tried = door.new_code(), 0
    while now < 600:
        try:
            assert door.enter_by_code("aaaaaaaa") is None
            tried += 1
        except TooManyTriesError as error:
            now += error.seconds
    assert tried < 20  # of 31 to the 8th power
    with pytest.raises(TooManyTriesError):
        _ = door.enter_by_code("aaaaaaaa"), door.enter_by_code(code)
