"""Where the broker is, as whom to go there, and in words for people why it did not work."""

from __future__ import annotations

import ssl
from dataclasses import dataclass, field
from typing import Literal

from aiomqtt import MqttCodeError
from aiomqtt.exceptions import MqttConnectError
from paho.mqtt.reasoncodes import ReasonCode

from fieldctl.errors import BadInput, FieldctlError, LinkDown, Refused, Unreachable

TAKEN_OVER = 0x8E  # MQTT 5, section 3.14.2.1: session taken over
BAD_USER = (0x86, 0x87, 4, 5)  # MQTT 5, section 3.2.2.2, and MQTT 3.1.1, section 3.2.2.3
BAD_VERSION = (0x84, 1)

Version = Literal["5", "3.1.1"]


@dataclass(frozen=True, slots=True)
class Tls:
    """Whom to trust (the system's own where None), and our own certificate where the broker asks for one."""

    ca_file: str | None = None
    certificate: str | None = None
    key: str | None = None


@dataclass(frozen=True, slots=True)
class BrokerAt:
    """Where the broker is and as whom to go there. Without `tls` the password travels in the clear."""

    host: str
    port: int
    user: str
    password: str = field(repr=False)
    tls: Tls | None = None
    version: Version = "5"

    @property
    def lacks(self) -> tuple[str, ...]:
        """What this version of MQTT cannot do for us, in words for people."""
        if self.version == "5":
            return ()
        return (
            "orders do not expire on the broker (their end in ticks still counts)",
            "an order retained by somebody arrives as if it were fresh to a target that is connected"
            " (its seal, counter and generation still count)",
            "the broker does not say why it ends a connection",
        )


class _ClosesWhenRefused(ssl.SSLSocket):
    """A TLS socket that is closed when its handshake fails; paho leaves it to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise


def tls_context(tls: Tls) -> ssl.SSLContext:
    """The context for a connection; BadInput when a file cannot be read."""
    try:
        context = ssl.create_default_context(cafile=tls.ca_file)
        if tls.certificate:
            context.load_cert_chain(tls.certificate, tls.key)
    except OSError as why:
        raise BadInput(
            f"A certificate for the broker could not be read: {why}",
            expected="PEM files that this user may read",
            remedy="Check the paths under mqtt in site.toml.",
        ) from why
    context.sslsocket_class = _ClosesWhenRefused
    return context


def _reason(why: BaseException) -> int | None:
    if isinstance(why, MqttCodeError):
        return why.rc.value if isinstance(why.rc, ReasonCode) else why.rc
    return None


def cannot_connect(broker: BrokerAt, why: BaseException) -> FieldctlError:
    """Why no connection came about, with its remedy."""
    where = f"{broker.host}:{broker.port}"
    if isinstance(why, MqttConnectError) and _reason(why) in BAD_USER:
        return Refused(
            f"The broker {where} does not accept the user {broker.user} with this password.",
            expected="a user of the broker's password file",
            remedy="Write the broker's configuration anew for this site, or mend the password.",
        )
    if isinstance(why, MqttConnectError) and _reason(why) in BAD_VERSION:
        return Refused(
            f"The broker {where} does not speak MQTT {broker.version}.",
            expected="a broker for MQTT 5, such as Mosquitto",
            remedy="Use Mosquitto, or set the version to 3.1.1 and read what is then missing.",
        )
    return Unreachable(
        f"The broker {where} could not be reached: {why}",
        expected="a broker that answers there",
        remedy="See that it runs (systemctl status mosquitto) and that host, port and certificate are right.",
    )


def lost(broker: BrokerAt, why: Exception) -> LinkDown:
    """Why a connection ended, with its remedy."""
    where = f"{broker.host}:{broker.port}"
    cause = why.__cause__ or why  # aiomqtt wraps the broker's word in one of its own
    if _reason(cause) == TAKEN_OVER:
        return LinkDown(
            f"Somebody else connected to the broker {where} as {broker.user}, which ended this connection.",
            expected="one controller for a site, and one device for a user",
            remedy="Stop the other one; two would throw each other out again and again.",
        )
    return LinkDown(
        f"The connection to the broker {where} was lost: {cause}",
        expected="a broker that stays",
        remedy="See that broker (systemctl status mosquitto) and network stand; the link comes back by itself."
        f" If it comes and goes, look for a second device that connects as {broker.user}: not every broker says so.",
    )
