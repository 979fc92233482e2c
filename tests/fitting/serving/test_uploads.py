from __future__ import annotations

from slackwater.fitting.serving.guard import MOST_OF_A_FILE
from slackwater.fitting.serving.uploads import Brought, Uploads


def test_files_are_kept_by_a_key_and_old_ones_make_room() -> None:
    uploads = Uploads()
    first = uploads.keep([Brought("a", b"x" * MOST_OF_A_FILE)])
    second = uploads.keep([Brought("b", b"x")])
    assert uploads.of(first)
    assert uploads.of("") == ()
    uploads.keep([Brought("c", b"x" * MOST_OF_A_FILE)])
    assert uploads.of(first) == ()
    assert uploads.of(second) == [Brought("b", b"x")]
    uploads.drop(second)
    assert uploads.of(second) == ()
