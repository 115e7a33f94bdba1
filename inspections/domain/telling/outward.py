"""One POST to an address that somebody entered: never to a private network, never on to another address.

The name is looked up once and the very address that was looked at is connected to, so that a name that
changes its address meanwhile leads nowhere else.
"""

from __future__ import annotations

import http.client
import ipaddress
import socket
import ssl
from collections.abc import Mapping
from typing import Final
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

TIMEOUT_S: Final = 10.0
PORTS: Final = {"http": 80, "https": 443}
#: Ways by which an IPv6 address leads to an IPv4 one (RFC 6052, RFC 8215, RFC 3056, RFC 4380).
_TRANSLATED: Final = tuple(
    ipaddress.ip_network(one) for one in ("64:ff9b::/96", "64:ff9b:1::/48", "2002::/16", "2001::/32")
)


class Refused(Exception):
    """The address may not be called; the message says why."""


def checked(url: str) -> SplitResult:
    """The parts of an address that may be called as far as its text tells."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        raise Refused(f"This is no address: {error}.") from error
    if parts.scheme not in PORTS or not parts.hostname:
        raise Refused("Give a whole address that begins with https://.")
    if parts.scheme == "http" and not settings.WEBHOOKS_TO_PRIVATE:
        raise Refused("Give an address with https, so that nobody on the way reads or changes what is told.")
    if parts.username is not None or parts.password is not None:
        raise Refused("Leave name and password out of the address; what is sent is signed.")
    if port == 0:
        raise Refused("Port 0 is none.")
    return parts


def post(url: str, body: bytes, headers: Mapping[str, str]) -> int:
    """Post ``body`` and give the status of the answer; raises `Refused` or `OSError`."""
    parts = checked(url)
    port = parts.port or PORTS[parts.scheme]
    assert parts.hostname is not None
    address = _looked_up(parts.hostname, port)
    connection = _Pinned(parts.hostname, port, address, secure=parts.scheme == "https")
    try:
        target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        connection.request("POST", target, body, dict(headers))
        return connection.getresponse().status
    except http.client.HTTPException as error:
        raise OSError(f"Its answer is no HTTP: {error!r}") from error
    finally:
        connection.close()


def _looked_up(host: str, port: int) -> str:
    """The address to connect to; refused if any that the name has is not public."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise OSError(f"The name {host} leads nowhere: {error}") from error
    addresses = [str(entry[4][0]) for entry in found]
    if not settings.WEBHOOKS_TO_PRIVATE and not all(is_public(address) for address in addresses):
        raise Refused(f"{host} is on a private network, which webhooks may not call.")
    return addresses[0]


def is_public(address: str) -> bool:
    """Whether an address is one of the open internet, in whichever way it is written."""
    ip = ipaddress.ip_address(address.partition("%")[0])
    if isinstance(ip, ipaddress.IPv6Address):
        if ip.ipv4_mapped is not None:
            return is_public(str(ip.ipv4_mapped))
        if any(ip in network for network in _TRANSLATED):
            return False
    return ip.is_global and not ip.is_multicast


class _Pinned(http.client.HTTPConnection):
    """A connection to a stated address, under the host's own name."""

    def __init__(self, host: str, port: int, address: str, *, secure: bool) -> None:
        super().__init__(host, port, timeout=TIMEOUT_S)
        self._address, self._secure = address, secure
        if secure:
            self.default_port = PORTS["https"]

    def connect(self) -> None:
        self.sock = socket.create_connection((self._address, self.port), TIMEOUT_S)
        if self._secure:
            self.sock = ssl.create_default_context().wrap_socket(self.sock, server_hostname=self.host)
