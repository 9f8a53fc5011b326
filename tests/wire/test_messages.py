"""Messages: the codec is a pair; the classes are the contract line by line; what is not the contract is named."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from pathlib import Path

import cbor2
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from made import ALL, anything, of, widest

from fieldctl.wire import envelope, frames
from fieldctl.wire import messages as m
from fieldctl.wire.fields import FEATURES_BYTES_MAX

CDDL = (Path(m.__file__).parent / "messages.cddl").read_text()


# ---- the pair ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cls", ALL, ids=lambda cls: cls.__name__)
@given(data=st.data())
def test_decode_undoes_encode(cls, data):
    message = data.draw(of(cls))
    body = m.encode(message)
    assert len(body) <= envelope.BODY_MAX
    assert m.decode(body) == message
    assert list(cbor2.loads(body)) == sorted(cbor2.loads(body)), "keys ascend"


@pytest.mark.parametrize("cls", ALL, ids=lambda cls: cls.__name__)
def test_the_widest_fits(cls):
    message = widest(cls)
    body = m.encode(message)
    assert m.decode(body) == message
    assert len(body) <= envelope.BODY_MAX
    payload = envelope.sealed(envelope.UP, 0xFFFFFFFF, 0xFFFFFFFF, body, b"\xff" * 8)
    assert len(frames.encode(payload)) <= frames.FRAME_MAX


def test_no_message_has_so_many_keys_that_its_head_takes_two_bytes():
    assert all(len(fields(cls)) + 1 < 24 for cls in ALL)


def test_features_of_any_strike_fit_and_more_bytes_do_not():
    """What `strikes.features` promises to send at most, and one byte beyond what fits."""
    most = (65535, 2_000_000, 2_000_000, 2000, 100, 255, 3000) + (255,) * 8
    assert len(cbor2.dumps(most)) <= 1 + FEATURES_BYTES_MAX
    assert m.decode(m.encode(replace(widest(m.Strike), features=most))).features == most
    for beyond in ((2**32 - 1,) * 8 + (0, 24), (0xFFFF,) * 14 + (0,)):
        assert len(cbor2.dumps(beyond)) == 2 + FEATURES_BYTES_MAX
        with pytest.raises(AssertionError):
            m.encode(replace(widest(m.Strike), features=beyond))


def test_what_is_outside_the_contract_is_our_own_mistake():
    for bad in (
        replace(widest(m.Grant), level=0),
        replace(widest(m.Grant), boot=1 << 32),
        replace(widest(m.Arm), armed=1),
        replace(widest(m.Arm), boot=True),
        replace(widest(m.Strike), features=()),
        replace(widest(m.Hail), slots=0),
        replace(widest(m.Greeting), firmware="ü" * 9),
    ):
        with pytest.raises(AssertionError, match="outside the contract"):
            m.encode(bad)


# ---- the contract -----------------------------------------------------------------------------------------------


def rules() -> dict[str, str]:
    """Name -> right-hand side of every rule in the contract."""
    text = re.sub(r";.*", "", CDDL)
    one = r"^([\w-]+) = ((?:(?!\n[\w-]+ = ).|\n)+?)(?=\n[\w-]+ = |\Z)"
    return {name: " ".join(rest.split()) for name, rest in re.findall(one, text, re.MULTILINE)}


RULES = rules()
WORDS = {"from": "from_", "count": "number"}  # a keyword of Python; a word of CDDL
BUILT_IN = {
    "uint .size 1": (0, 255, 256),
    "uint .size 2": (0, 65535, 65536),
    "uint .size 4": (0, 2**32 - 1, 2**32),
    "uint .size 8": (0, 2**64 - 1, -1),
    "1..100": (1, 100, 101),
    "1..255": (1, 255, 0),
    "bool": (False, True, 0),
    "bstr .size 8": (bytes(8), b"\xff" * 8, bytes(9)),
    "0..100": (0, 100, 101),
    "bstr .size 32": (bytes(32), b"\xff" * 32, bytes(31)),
    "bstr .size (1..32)": (b"\xff", b"\xff" * 32, b"\xff" * 33),
    "tstr .size (1..16)": ("x", "x" * 16, "x" * 17),
    "[1*15 u32]": ([0], [2**32 - 1] * 8 + [0] * 2, [0] * 16),
}


def lines(rule: str) -> list[tuple[bool, str, str]]:
    """(optional, key's name, type) of each line of a map."""
    inside = rule.removeprefix("{").removesuffix("}").strip()
    parts = [part.strip() for part in re.split(r",(?![^\[(]*[\])])", inside)]
    assert parts.pop() == "* uint => any", f"ends otherwise: {rule}"
    found = []
    for part in parts:
        optional, key, kind = re.fullmatch(r"(\? )?([\w-]+) => (.+)", part).groups()
        found.append((bool(optional), key, kind))
    return found


def cddl_name(cls: type[m.Message]) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", "-", cls.__name__).lower()


def test_every_rule_of_the_contract_was_read():
    assert set(map(cddl_name, ALL)) == {name for name, rule in RULES.items() if rule.startswith("{")}
    for group, classes in (("down", m.DOWN), ("up", m.UP), ("unsealed", m.UNSEALED)):
        assert RULES[group] == " / ".join(map(cddl_name, classes))
    assert CDDL.count("* uint => any") == len(ALL) + 1  # and once in the words at its head


def test_the_table_of_keys():
    numbers = {name: int(rule) for name, rule in RULES.items() if rule.isdecimal()}
    ours = {"kind": 0} | {name: key for name, (key, _) in m.KEYS.items()}
    assert {WORDS.get(name, name.replace("-", "_")): key for name, key in numbers.items()} == ours
    assert list(numbers.values()) == list(range(len(numbers))), "ascending, none left out, none twice"
    used = {key for cls in ALL for _, key, _ in lines(RULES[cddl_name(cls)])}
    assert used == set(numbers)


@pytest.mark.parametrize("cls", ALL, ids=lambda cls: cls.__name__)
def test_class_and_contract(cls):
    """Kind, keys, types, what is optional, and the order on the wire, which is the order of the keys."""
    (_, first, kind), *rest = lines(RULES[cddl_name(cls)])
    assert (first, int(kind)) == ("kind", cls.KIND)
    ours = {f.name: f for f in fields(cls)}
    assert {WORDS.get(key, key.replace("-", "_")) for _, key, _ in rest} == set(ours)
    numbers = [int(RULES[key]) for _, key, _ in rest]
    in_order = [key for _, key in sorted(zip(numbers, [key for _, key, _ in rest], strict=True))]
    got = cbor2.loads(m.encode(widest(cls)))
    assert list(got) == [0, *sorted(numbers)]
    for optional, key, kind in rest:
        name = WORDS.get(key, key.replace("-", "_"))
        assert optional == (ours[name].default is None)
        least, most, outside = BUILT_IN[RULES.get(kind, kind)]
        for value in (least, most):
            decoded = m.decode(cbor2.dumps({**got, int(RULES[key]): value}))
            assert getattr(decoded, name) == (tuple(value) if isinstance(value, list) else value)
        with pytest.raises(m.Malformed, match="ill-typed"):
            m.decode(cbor2.dumps({**got, int(RULES[key]): outside}))
        without = cbor2.dumps({k: v for k, v in got.items() if k != int(RULES[key])})
        if optional:
            assert getattr(m.decode(without), name) is None
        else:
            with pytest.raises(m.Malformed, match="missing-key"):
                m.decode(without)
    assert in_order  # no message is empty


def test_kinds_are_distinct_and_the_reserved_ones_free():
    kinds = [cls.KIND for cls in ALL]
    assert len(set(kinds)) == len(kinds)
    assert not {11, 12, 13, 14} & set(kinds)


# ---- old and new ------------------------------------------------------------------------------------------------

any_value = st.recursive(
    st.one_of(
        st.integers(-(2**64), 2**64 - 1),
        st.booleans(),
        st.none(),
        st.floats(allow_nan=False),
        st.binary(max_size=8),
        st.text(max_size=6),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.integers(0, 9), inner, max_size=2),
    max_leaves=4,
)


@given(anything, st.dictionaries(st.integers(len(m.KEYS) + 1, 2**64 - 1), any_value, max_size=4))
def test_old_skips_what_new_appends(message, extra):
    body = cbor2.dumps(dict(cbor2.loads(m.encode(message))) | dict(sorted(extra.items())))
    assert m.decode(body) == message


@pytest.mark.parametrize("more", [20, 21, 22, 30])
def test_more_unknown_keys_than_a_short_head_counts(more):
    """From 24 pairs on the head of a map has two bytes."""
    body = cbor2.dumps({0: 4, 6: 5} | dict.fromkeys(range(50, 50 + more), 0))
    assert len(body) <= envelope.BODY_MAX
    assert m.decode(body) == m.AllOff(5)


@pytest.mark.parametrize("tag", [0, 1, 2, 4, 5, 28, 29, 30, 35, 36, 37, 258, 260, 43000, 55799, 65535])
@pytest.mark.parametrize("inside", ["00", "20", "6128", "820102", "824000", "c24105", "1b7fffffffffffffff"])
def test_tags_inside_unknown_keys_are_skipped_unread(tag, inside):
    """Nobody's pattern is compiled and nobody's decimal worked out: old firmware would not do so either."""
    body = bytes.fromhex("a300040605") + bytes.fromhex("1832") + cbor2.dumps(cbor2.CBORTag(tag, 0))[:-1]
    assert m.decode(body + bytes.fromhex(inside)) == m.AllOff(5)


# ---- what is malformed ------------------------------------------------------------------------------------------

MALFORMED = {
    "nothing": ("", "not-cbor"),
    "half a map": ("a2000406", "not-cbor"),
    "break": ("ff", "not-cbor"),
    "surplus": ("a20004060500", "surplus"),
    "a number": ("05", "no-map"),
    "a list": ("820004", "no-map"),
    "tagged map": ("d9d9f7a200040605", "not-deterministic"),
    "kind missing": ("a10605", "unknown-kind"),
    "kind of nobody": ("a200182a0605", "unknown-kind"),
    "kind reserved": ("a2000b0605", "unknown-kind"),
    "kind a list": ("a10080", "unknown-kind"),
    "kind a map": ("a100a0", "unknown-kind"),
    "kind true, which is 1": ("a100f5", "unknown-kind"),
    "kind 4.0": ("a200f944000605", "unknown-kind"),
    "kind a bignum": ("a200c241040605", "unknown-kind"),
    "key missing": ("a10004", "missing-key"),
    "key false, which is 0": ("a2f4040605", "bad-key"),
    "key 6.0": ("a20004f9460005", "bad-key"),
    "key negative": ("a30004060520f6", "bad-key"),
    "key a text": ("a3000406056161f6", "bad-key"),
    "value null": ("a2000406f6", "ill-typed"),
    "value true, which is 1": ("a2000406f5", "ill-typed"),
    "value 5.0": ("a2000406f94500", "ill-typed"),
    "value a bignum": ("a2000406c24105", "ill-typed"),
    "value tagged": ("a2000406c005", "not-deterministic"),
    "value too wide": ("a20004061b0000000100000000", "ill-typed"),
    "value in a longer form": ("a20004061805", "not-deterministic"),
    "key in a longer form": ("a20004180605", "not-deterministic"),
    "head in a longer form": ("b80200040605", "not-deterministic"),
    "map of no given length": ("bf00040605ff", "not-cbor"),
    "keys in another order": ("a206050004", "not-deterministic"),
    "unknown key before a known one": ("a3000401000605", "not-deterministic"),
    "key twice": ("a3000406050605", "not-cbor"),
    "nested too deep": ("a3000406051832" + "81" * 20 + "00", "not-cbor"),
}


@pytest.mark.parametrize("what", MALFORMED)
def test_malformed_by_kind(what):
    body, kind = MALFORMED[what]
    with pytest.raises(m.Malformed) as caught:
        m.decode(bytes.fromhex(body))
    assert caught.value.kind == kind


@pytest.mark.parametrize("impostor", ["f5", "f93c00", "fa3f800000", "fb3ff0000000000000", "c24101", "1801"])
def test_true_and_one_point_zero_do_not_pass_for_the_key_1(impostor):
    """`re` is key 1; a dict of Python cannot tell 1, True and 1.0 apart, a reader in C can."""
    status = bytes.fromhex("a5000f0107020303040400")
    with_re = m.encode(m.Status(boot=3, ticks=4, flags=0, re=7))
    assert m.decode(with_re).re == 7
    assert with_re[:3] + with_re[3:5] == status[:5]
    with pytest.raises(m.Malformed):
        m.decode(with_re[:3] + bytes.fromhex(impostor) + with_re[4:])
    # and beside the key itself
    with pytest.raises(m.Malformed):
        m.decode(bytes([with_re[0] + 1]) + with_re[1:] + bytes.fromhex(impostor) + b"\x09")


@given(st.binary(max_size=120))
@example(b"\xa1\x00\x80")
@example(b"\xd8\x23\x61\x28")
def test_any_bytes_are_a_message_or_malformed(body):
    try:
        message = m.decode(body)
    except m.Malformed:
        return
    assert body[1:].startswith(m.encode(message)[1:]) or body[2:].startswith(m.encode(message)[1:])


@given(anything, st.data())
def test_a_message_with_a_few_bytes_changed(message, data):
    body = bytearray(m.encode(message))
    for _ in range(data.draw(st.integers(1, 4))):
        body[data.draw(st.integers(0, len(body) - 1))] = data.draw(st.integers(0, 255))
    test_any_bytes_are_a_message_or_malformed.hypothesis.inner_test(bytes(body))
