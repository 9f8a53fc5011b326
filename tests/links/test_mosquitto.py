"""The configuration that a park runs, against the real Mosquitto: each role tries every topic."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import shutil
import socket
import subprocess
from collections.abc import AsyncIterator
from pathlib import Path

import aiomqtt
import pytest
from listening import Listening, now

from fieldctl.errors import BadInput, Refused, Unreachable
from fieldctl.links import mqtt, topics
from fieldctl.links.broker_at import BrokerAt, Tls
from fieldctl.links.mosquitto import MAX_PACKET_BYTES, Listen, broker_files, broker_users, write_broker_files
from fieldctl.links.mqtt import open_mqtt
from fieldctl.units import TargetId
from sims.broker import Mosquitto, find_mosquitto, start_broker

SITE = "larch"
A, B, FAR, FARTHER = TargetId("0a1b2c3d"), TargetId("0a1b2c3e"), TargetId("000000f1"), TargetId("000000f2")
BRIDGES = {"upper": [FAR], "lower": [FARTHER]}
USERS = broker_users([A, B], BRIDGES)

EVERY_TOPIC = [
    *(f"{way(SITE, t)}" for t in (A, B, FAR, FARTHER) for way in (topics.up, topics.down)),
    topics.down(SITE, None),
    topics.status(SITE),
    f"{topics.ROOT}/{SITE}/t/controller/up",
    f"{topics.ROOT}/{SITE}/all/up",
    f"{topics.ROOT}/{SITE}/log",
    f"{topics.ROOT}/other/t/{A}/down",
    f"{topics.ROOT}/other/all/down",
    f"{topics.ROOT}/other/status",
    "homes/lamp",
]


def may(user: str) -> tuple[set[str], set[str]]:
    """What `user` may write and read among EVERY_TOPIC, said again and apart from the product."""
    base = f"fieldctl/v1/{SITE}"
    everybody = {f"{base}/all/down", f"{base}/status"}
    if user == "controller":
        downs = {f"{base}/t/{t}/down" for t in (A, B, FAR, FARTHER)}
        ups = {f"{base}/t/{t}/up" for t in (A, B, FAR, FARTHER)}
        # t/controller is no target: the controller reads all of t/+/up, and writing there reaches only itself.
        return downs | everybody | {f"{base}/t/controller/up"}, ups | {f"{base}/t/controller/up", f"{base}/status"}
    own = {"bridge-upper": FAR, "bridge-lower": FARTHER}.get(user, user)
    return {f"{base}/t/{own}/up"}, everybody | {f"{base}/t/{own}/down"}


@pytest.fixture(scope="module")
def program() -> str:
    found = find_mosquitto()
    assert found is not None, "the tests need mosquitto: apt install mosquitto"
    return found


@pytest.fixture
async def broker() -> AsyncIterator[Mosquitto]:
    running = await start_broker(SITE, [A, B], bridges=BRIDGES)
    assert isinstance(running, Mosquitto)
    yield running
    await running.stop()


def client(at: BrokerAt, **options: object) -> aiomqtt.Client:
    return aiomqtt.Client(
        at.host,
        at.port,
        username=at.user,
        password=at.password,
        protocol=aiomqtt.ProtocolVersion.V5,
        **options,
    )


async def heard(reader: aiomqtt.Client, until: bytes, got: set[str]) -> None:
    async for message in reader.messages:
        if message.payload == until:
            return
        got.add(message.topic.value)


async def test_a_refused_publish_ends_no_connection(broker):
    """With max_queued_messages 0 it does, in Mosquitto 2.0.11."""
    ear = Listening()
    link = await open_mqtt(SITE, broker.login("controller"), ear, now=now)
    for qos in (0, 1):
        async with client(broker.login(A)) as node:
            await node.publish("homes/lamp", b"forged", qos=qos)
            await node.publish(topics.up(SITE, A), b"proper", qos=qos)
            await ear.until(lambda qos=qos: len(ear.messages) == qos + 1)
    await link.close()


async def test_each_role_tries_to_write_every_topic(broker):
    # The broker lets nobody read everything, so a second list is laid in for one who listens.
    acl = broker.folder / "acl"
    acl.write_text(acl.read_text().replace("user controller\n", "user controller\ntopic read #\n", 1))
    broker.reload()
    written: dict[str, set[str]] = {}
    async with client(broker.login("controller")) as ear:
        await ear.subscribe("#")
        for user in USERS:
            if user == "controller":
                continue
            written[user] = set()
            async with client(broker.login(user)) as writer:
                for topic in EVERY_TOPIC:
                    await writer.publish(topic, b"forged", qos=1)  # refused without an error: nothing raises here
            await ear.publish(topics.down(SITE, A), b"end")
            async with asyncio.timeout(5):
                await heard(ear, b"end", written[user])
    assert written == {user: may(user)[0] for user in USERS if user != "controller"}


async def test_the_controller_writes_to_targets_and_nowhere_else(broker):
    seen: dict[str, set[str]] = {user: set() for user in (A, B, "bridge-upper", "bridge-lower")}
    clients = {user: client(broker.login(user)) for user in seen}
    for one in clients.values():
        await one.__aenter__()
        await one.subscribe("#")
    async with client(broker.login("controller")) as writer:
        await writer.subscribe("#")
        for topic in EVERY_TOPIC:
            await writer.publish(topic, b"word", qos=1)
        mirrored: set[str] = set()
        await writer.publish(topics.down(SITE, None), b"end", qos=1)
        for user, one in clients.items():
            async with asyncio.timeout(5):
                await heard(one, b"end", seen[user])
        for user, one in clients.items():
            if user == A:
                await one.publish(topics.up(SITE, A), b"end", qos=1)
        async with asyncio.timeout(5):
            await heard(writer, b"end", mirrored)
    for one in clients.values():
        await one.__aexit__(None, None, None)
    assert seen == {user: may(user)[1] for user in seen}
    assert mirrored == may("controller")[0] & may("controller")[1]


@pytest.mark.parametrize("user", USERS)
async def test_each_role_reads_what_it_may_and_nothing_else(broker, user):
    """Everything is written by whoever may, `user` itself among them; `user` listens to everything."""
    got: set[str] = set()
    async with client(broker.login(user)) as ear:
        await ear.subscribe("#")
        await ear.subscribe("$SYS/#")
        for topic in sorted(may(user)[0]):
            await ear.publish(topic, b"word", qos=1)
        for writer_name in USERS:
            if writer_name == user:
                continue
            async with client(broker.login(writer_name)) as writer:
                for topic in sorted(may(writer_name)[0]):
                    await writer.publish(topic, b"word", qos=1)
        last = topics.up(SITE, A) if user == "controller" else topics.down(SITE, None)
        async with client(broker.login(A if user == "controller" else "controller")) as writer:
            await writer.publish(last, b"end", qos=1)
            async with asyncio.timeout(5):
                await heard(ear, b"end", got)
    assert got == may(user)[1] & set().union(*(may(writer)[0] for writer in USERS))


async def test_nobody_without_a_name_or_with_the_wrong_password(broker):
    at = broker.login(A)
    for user, password in [(None, None), (A, None), (A, "wrong"), (A, ""), ("nobody", "x"), (B, at.password)]:
        with pytest.raises(aiomqtt.MqttError):
            async with aiomqtt.Client(at.host, at.port, username=user, password=password):
                pass


async def test_a_device_cannot_throw_out_another_by_its_client_id(broker):
    ear = Listening()
    link = await open_mqtt(SITE, broker.login("controller"), ear, now=now)
    async with client(broker.login(B), identifier="controller") as impostor:
        await impostor.publish(topics.up(SITE, B), b"me", qos=1)
        await ear.until(lambda: bool(ear.messages))
    assert link.alive
    assert ear.lost == []
    await link.close()


async def test_a_packet_beyond_the_limit_ends_its_senders_connection_not_the_broker(broker):
    ear = Listening()
    link = await open_mqtt(SITE, broker.login("controller"), ear, now=now)
    big, small = client(broker.login(A), timeout=0.3), client(broker.login(B))
    async with small:
        with pytest.raises(aiomqtt.MqttError):
            async with big:
                await big.publish(topics.up(SITE, A), bytes(MAX_PACKET_BYTES + 1), qos=1)
        assert big._disconnected.exception() is not None
        await small.publish(topics.up(SITE, B), b"fine", qos=1)
    await ear.until(lambda: bool(ear.messages))
    assert [m[:2] for m in ear.messages] == [(B, b"fine")]
    await link.close()


async def test_a_slow_reader_loses_nothing(broker):
    """More waits than the buffers of the system hold. With a queue of 1000, the default, the broker drops some."""
    count, size = 8_000, 900  # 7.2 MB; the sending side of a loopback connection takes up to 4
    small = [(socket.SOL_SOCKET, socket.SO_RCVBUF, 65536)]
    async with client(broker.login("controller")) as writer, client(broker.login(A), socket_options=small) as ear:
        await ear.subscribe(topics.down(SITE, A))
        sock, loop = ear._client.socket(), asyncio.get_running_loop()
        loop.remove_reader(sock)  # deaf for a while
        for i in range(count):
            await writer.publish(topics.down(SITE, A), i.to_bytes(4, "big") + bytes(size - 4))
        await writer.publish("end", b"", qos=1)  # all are at the broker
        loop.add_reader(sock, ear._client.loop_read)
        got = []
        async with asyncio.timeout(20):
            async for message in ear.messages:
                assert isinstance(message.payload, bytes)
                got.append(int.from_bytes(message.payload[:4], "big"))
                if got[-1] == count - 1:
                    break
    assert got == list(range(count))


async def test_nothing_is_retained_over_a_restart_of_the_broker(program):
    passwords = dict.fromkeys(broker_users([A]), "x" * 24)
    first = await Mosquitto.start(program, SITE, [A], {}, passwords)
    async with client(first.login("controller")) as careless:
        await careless.publish(topics.down(SITE, A), b"stale", qos=1, retain=True)
    left = {p.name for p in first.folder.iterdir()}
    folder = first.folder
    await first.stop()
    assert left == {"mosquitto.conf", "acl", "passwords", "log"}  # no database
    assert not folder.exists()


# --- TLS ------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    """A certificate for 127.0.0.1 that signs itself, made for this test run."""
    folder = tmp_path_factory.mktemp("tls")
    openssl = shutil.which("openssl")
    assert openssl is not None, "the tests need openssl"
    cert, key = folder / "cert.pem", folder / "key.pem"
    subprocess.run(
        [
            *(openssl, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"),
            *("-days", "2", "-subj", "/CN=larch", "-addext", "subjectAltName=IP:127.0.0.1"),
            *("-keyout", str(key), "-out", str(cert)),
        ],
        check=True,
        capture_output=True,
    )
    return str(cert), str(key)


async def test_tls_there_and_back_and_a_stranger_is_not_trusted(
    program, certificate, tmp_path, monkeypatch, nothing_left
):
    passwords = {user: f"secret of {user}" for user in broker_users([A])}
    broker = await Mosquitto.start(program, SITE, [A], {}, passwords, tls=certificate)
    trusted = Tls(ca_file=certificate[0])

    def at(user: str, tls: Tls | None) -> BrokerAt:
        return BrokerAt("127.0.0.1", broker.port, user, passwords[user], tls=tls)

    ear, far = Listening(), Listening()
    link = await open_mqtt(SITE, at("controller", trusted), ear, now=now)
    node = await open_mqtt(SITE, at(A, trusted), far, now=now, role="target", targets=[A])
    for i in range(200):  # many in one record: all of them are read
        link.send(b"%d" % i, A)
    await far.until(lambda: len(far.messages) == 200)
    node.send(b"done")
    await ear.until(lambda: bool(ear.messages))
    await link.close()
    await node.close()
    with pytest.raises(Unreachable, match="certificate verify failed"):
        await open_mqtt(SITE, at("controller", Tls()), ear, now=now)
    monkeypatch.setattr(mqtt, "ANSWER_S", 0.3)
    with pytest.raises(Unreachable):
        await open_mqtt(SITE, at("controller", None), ear, now=now)
    with pytest.raises(BadInput, match="could not be read"):
        await open_mqtt(SITE, at("controller", Tls(ca_file=str(tmp_path / "none.pem"))), ear, now=now)
    await broker.stop()


# --- the texts ------------------------------------------------------------------------------------------------------


OPEN_TO_ALL = Listen(8883, None, "/etc/cert.pem", "/etc/key.pem")


def files(listen: Listen = OPEN_TO_ALL, **more: object):
    salts = iter(range(256))
    passwords = {user: f"pw-{user}" for user in USERS}
    return broker_files(
        SITE,
        [A, B],
        passwords=more.pop("passwords", passwords),
        salt=lambda: bytes([next(salts)] * 12),
        folder="/etc/fieldctl-broker",
        listen=listen,
        bridges=BRIDGES,
    )


def test_the_production_texts_are_pure_and_hold_no_password():
    one, two = files(), files()
    assert one == two
    assert "listener 8883\ncertfile /etc/cert.pem\nkeyfile /etc/key.pem\ntls_version tlsv1.2\n" in one.conf
    for line in ("allow_anonymous false", "persistence false", "use_username_as_clientid true", "max_keepalive 60"):
        assert f"\n{line}\n" in one.conf
    for text in (one.conf, one.acl, one.passwords):
        assert "pw-" not in text
    users = [line.split(":")[0] for line in one.passwords.splitlines()]
    assert users == ["controller", A, B, "bridge-lower", "bridge-upper"]


def test_a_password_line_is_what_mosquittos_format_says():
    user, line = files().passwords.splitlines()[1].split(":")
    _, kind, rounds, salt, digest = line.split("$")
    assert (user, kind) == (A, "7")
    again = hashlib.pbkdf2_hmac("sha512", f"pw-{A}".encode(), base64.b64decode(salt), int(rounds))
    assert base64.b64decode(digest) == again


@pytest.mark.parametrize(
    "listen", [Listen(1883), Listen(1883, "0.0.0.0"), Listen(1883, "192.0.2.1"), Listen(1, None, "c")]
)
def test_no_plain_listener_that_others_can_reach(listen):
    with pytest.raises(BadInput, match="over an open network"):
        files(listen)


def test_a_user_without_a_password_is_named():
    with pytest.raises(BadInput, match=f"no password: {B}, bridge-lower"):
        files(passwords={"controller": "x", A: "x", "bridge-upper": "x", B: ""})


@pytest.mark.parametrize("name", ["up per", "a/b", "#", "x\nuser root"])
def test_a_name_that_would_write_its_own_rules_is_refused(name):
    with pytest.raises(BadInput, match="MQTT topic"):
        broker_files(
            SITE, [A], passwords={}, salt=bytes, folder="/x", listen=Listen(1, "127.0.0.1"), bridges={name: [FAR]}
        )


async def test_the_broker_refusing_to_be_read_is_told(monkeypatch):
    """Mosquitto grants a filter that it then keeps empty; another broker says no."""
    broker = await start_broker(SITE, [A])

    async def refuse(self: object, wanted: list[object]) -> list[int]:
        return [0x87 for _ in wanted]

    monkeypatch.setattr(mqtt._Client, "subscribe", refuse)
    with pytest.raises(Refused, match="does not let controller read"):
        await open_mqtt(SITE, broker.login("controller"), Listening(), now=now)
    await broker.stop()


def test_files_lie_readable_by_their_owner_alone_and_replace_older_ones(tmp_path: Path):
    (tmp_path / "acl").write_text("topic readwrite #")
    (tmp_path / "acl").chmod(0o644)
    write_broker_files(files(), tmp_path)
    assert {p.name: p.stat().st_mode & 0o777 for p in tmp_path.iterdir()} == dict.fromkeys(
        ("mosquitto.conf", "acl", "passwords"), 0o600
    )
    assert (tmp_path / "acl").read_text() == files().acl
