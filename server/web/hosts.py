"""The names that this server answers to. A request for any other name is refused, on every route: a page elsewhere
that makes its own name point here (DNS rebinding) gets nothing.
"""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from dataclasses import dataclass

_LOOPBACK = ("localhost", "127.0.0.1", "[::1]")


@dataclass(frozen=True, slots=True)
class Hosts:
    """``names`` without port, in lower case, IPv6 addresses in brackets; ``lan`` says that guests may come."""

    names: frozenset[str]
    port: int
    lan: bool = False

    def serves(self, host: str, reached_at: str = "") -> bool:
        """Whether a Host header names this server: one of its names, and its port (RFC 9110, 7.2).

        ``reached_at`` is the address that the connection itself came in on. On the LAN it is a name too, since a
        machine changes networks while it serves; a page elsewhere can't make a browser send it as a name of its own.
        """
        names = self.names | {in_brackets(reached_at.partition("%")[0])} if self.lan and reached_at else self.names
        allowed = {f"{name}:{self.port}" for name in names}
        if self.port == 80:
            allowed |= names
        return host.lower() in allowed

    def is_own_origin(self, origin: str, reached_at: str = "") -> bool:
        """Whether an Origin header names one of this server's own pages (RFC 6454, 7)."""
        return origin.lower().startswith("http://") and self.serves(origin[len("http://"):], reached_at)


def loopback_hosts(port: int) -> Hosts:
    return Hosts(frozenset(_LOOPBACK), port)


def lan_hosts(port: int) -> Hosts:
    """Loopback, this machine's addresses, its name and its name under .local (RFC 6762)."""
    name = socket.gethostname().split(".")[0].lower()
    names = {*_LOOPBACK, name, f"{name}.local", *(in_brackets(address) for address in lan_addresses())}
    return Hosts(frozenset(filter(None, names)), port, lan=True)


def lan_addresses() -> tuple[str, ...]:
    """This machine's addresses on its networks, the likeliest first; loopback and link-local ones left out."""
    found: list[str] = []
    for family, target in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        # Connecting a datagram socket sends nothing; it only asks which address would be used. The targets are set
        # aside for documentation (RFC 5737, RFC 3849).
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as probe:
                probe.connect((target, 9))
                found.append(probe.getsockname()[0])
        except OSError:
            continue
    with contextlib.suppress(OSError):
        found += [str(entry[4][0]) for entry in socket.getaddrinfo(socket.gethostname(), None)]
    kept = []
    for text in dict.fromkeys(found):
        address = ipaddress.ip_address(text.partition("%")[0])
        if not (address.is_loopback or address.is_link_local or address.is_unspecified):
            kept.append(str(address))
    return tuple(kept)


def in_brackets(address: str) -> str:
    """An address as it stands in a URL."""
    return f"[{address}]" if ":" in address else address


def guest_address(hosts: Hosts) -> str:
    """The address that guests use: this machine's likeliest one on its network, never what a Host header says."""
    addresses = lan_addresses() or ("127.0.0.1",)
    return f"http://{in_brackets(addresses[0])}:{hosts.port}"
