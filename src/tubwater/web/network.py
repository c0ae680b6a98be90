"""Under which names and addresses this computer is known on its own network."""

from __future__ import annotations

import ipaddress
import re
import socket
from collections.abc import Callable, Container
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

__all__ = ["AT_HOME", "AnyOnce", "Home", "home_addresses", "host_names", "is_at_home", "is_here"]

# This computer itself, and what networks at home number themselves from (RFC 1918, RFC 4193).
AT_HOME = tuple(
    ipaddress.ip_network(network)
    for network in ("127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "::1/128", "fc00::/7")
)

_ELSEWHERE = "198.51.100.1"  # an address kept for examples (RFC 5737); nothing is sent
_NAME = re.compile(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*")


def home_addresses() -> tuple[str, ...]:
    """The private addresses of this computer: the one that it speaks from first, those of IPv6 last."""
    found = [_speaks_from()]
    with suppress(OSError):
        found += sorted((str(place[4][0]) for place in socket.getaddrinfo(socket.gethostname(), None)), key=_is_long)
    return tuple(dict.fromkeys(address for address in found if is_at_home(address) and not is_here(address)))


def _is_long(address: str) -> bool:
    return ":" in address


def host_names() -> tuple[str, ...]:
    """The names under which a network at home may know this computer."""
    name = socket.gethostname().lower()
    if not _NAME.fullmatch(name) or name == "localhost":
        return ("localhost",)
    first = name.partition(".")[0]
    return tuple(dict.fromkeys(("localhost", name, first, f"{first}.local")))


class AnyOnce(Container[str]):
    """Names under which the pages may be asked: some, and any as soon as whoever asks has to log in.

    Before that, a page elsewhere that points a name of its own here could do what whoever sits here may.
    """

    def __init__(self, guarded: Callable[[], bool], names: Container[str]) -> None:
        self._guarded, self._names, self._any = guarded, names, False

    def __contains__(self, name: object) -> bool:
        self._any = self._any or self._guarded()
        return self._any or name in self._names


@dataclass(frozen=True)
class Home:
    """How phones reach the pages: by which scheme and port, and the authority that they are asked to trust.

    ``authority`` is the file of its certificate (DER), None where there is no HTTPS.
    """

    scheme: str
    port: int
    authority: Path | None = None
    find: Callable[[], tuple[str, ...]] = home_addresses

    def addresses(self) -> tuple[str, ...]:
        """Every address of the first page, without the last slash; by name where there is none by number."""
        found = self.find() or host_names()[-1:]
        return tuple(f"{self.scheme}://{_bracketed(one)}:{self.port}" for one in found)


def _speaks_from() -> str:
    """The address that this computer would use to a far one; asking for it sends nothing."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
            asked.connect((_ELSEWHERE, 9))
            return str(asked.getsockname()[0])
    except OSError:
        return ""


def is_here(host: str) -> bool:
    """Whether an address can be reached from this computer only."""
    try:
        return host == "localhost" or ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def is_at_home(text: str) -> bool:
    """Whether an address belongs to this computer or to a network at home."""
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        return False
    return any(address.version == network.version and address in network for network in AT_HOME)


def _bracketed(address: str) -> str:
    return f"[{address}]" if ":" in address else address
