"""The side door over a socket: its lines, and every way in which it can break."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from fieldctl.certify.side_door import MANY, WORDS, Both, ByHand, Shut, Socketed
from fieldctl.errors import BadInput, LinkDown, Unreachable


@contextmanager
def port(*answers: bytes) -> Iterator[tuple[str, list[bytes]]]:
    """A port that answers one line after the other with these, and then closes."""
    heard: list[bytes] = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            connection, _ = server.accept()
            with connection, connection.makefile("rb") as lines:
                for answer in answers:
                    heard.append(lines.readline())
                    connection.sendall(answer)

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield "{}:{}".format(*server.getsockname()), heard
        finally:
            thread.join(timeout=5)


def test_it_asks_what_is_offered_and_does_it() -> None:
    with port(b"ok power gate touch dance\n", b"ok\n", b"ok 10 20 1000 1100\n") as (where, heard):
        door = Socketed(where)
        assert door.offers == {"power", "gate", "touch", MANY}
        assert door.do("power", 200) == ()
        assert door.do("gate") == (10, 20, 1000, 1100)
        door.close()
    assert heard == [b"offers\n", b"power 200\n", b"gate\n"]


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (b"no power was cut\n", "refused 'power 200': power was cut"),
        (b"", "closed"),
        (b"ok soon\n", "answered 'soon' to power"),
        (b"maybe\n", "refused"),
        (b"x" * 70_000, "without an end of line"),
    ],
)
def test_a_door_that_breaks_is_a_lost_line(answer, says) -> None:
    with port(b"ok power\n", answer) as (where, _):
        door = Socketed(where)
        with pytest.raises(LinkDown, match=says):
            door.do("power", 200)
        door.close()


def test_one_that_is_not_there_or_no_address() -> None:
    with pytest.raises(Unreachable, match="cannot be reached"):
        Socketed("127.0.0.1:1")
    with pytest.raises(Unreachable, match="cannot be reached"):
        Socketed("/nowhere/door")
    with pytest.raises(BadInput, match="no address"):
        Socketed("here:there")


def test_a_hand_is_asked_in_words_and_a_port_goes_before_it() -> None:
    asked: list[str] = []
    hand = ByHand(asked.append)
    assert MANY not in hand.offers
    with port(b"ok power\n", b"ok\n") as (where, heard):
        door = Socketed(where)
        both = Both(door, hand)
        assert both.offers == {"power", "touch", "press"}
        both.do("power", 300)
        both.do("touch")
        both.do("press")
        door.close()
    assert heard[1] == b"power 300\n"
    assert [line.split(",")[0] for line in asked] == ["Strike the pad once with a probe", "Press the target's button"]
    assert Both(Shut(), hand).offers == hand.offers <= set(WORDS)
