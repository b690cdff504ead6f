"""Which machines may be called by whoever types an address: those of the internet, and no others.

The networks below are those that IANA's registries of special-purpose addresses (RFC 6890, as
of 2025, from memory) do not call globally reachable, whichever version of Python runs. Whatever
carries an IPv4 address within one of IPv6 goes by that address, or is refused: mapped
(RFC 4291), translated (RFC 6052, RFC 8215), 6to4 (RFC 3056), Teredo (RFC 4380).
"""

from collections.abc import Iterable
from ipaddress import (
    IPv4Address,
    IPv4Network,
    IPv6Address,
    IPv6Network,
    ip_address,
    ip_network,
)

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network


def _networks(text: str) -> tuple[Network, ...]:
    return tuple(ip_network(network) for network in text.split())


NOT_GLOBAL = _networks(
    "0.0.0.0/8 10.0.0.0/8 100.64.0.0/10 127.0.0.0/8 169.254.0.0/16 172.16.0.0/12 192.0.0.0/24 "
    "192.0.2.0/24 192.168.0.0/16 198.18.0.0/15 198.51.100.0/24 203.0.113.0/24 240.0.0.0/4 "
    "2001::/23 2001:db8::/32 3fff::/20"
)
UNICAST = _networks("0.0.0.0/0 2000::/3")
"""Beyond 2000::/3 nothing of IPv6 is globally reachable unicast (RFC 4291)."""

NEVER = _networks(
    "224.0.0.0/4 192.88.99.0/24 2001::/32 2002::/16 ff00::/8 "
    # Where hosts of machines in a cloud hand out credentials: link-local, and each cloud's own.
    "169.254.0.0/16 fe80::/10 fd00:ec2::/32 100.100.100.200/32 192.0.0.192/32 168.63.129.16/32"
)
TRANSLATED = _networks("64:ff9b::/96 64:ff9b:1::/48")


def parse(address: str) -> Address:
    """Read an IP address, without the zone that IPv6 may carry; ValueError if it is none."""
    return ip_address(address.partition("%")[0])


def may_be_called(address: str, allowed: Iterable[Network] = ()) -> bool:
    """Whether an IP address is of the internet, or of a network that is named as allowed.

    This machine itself, multicast, addresses that lead through relays, and those where clouds
    answer with credentials are refused whatever is allowed.
    """
    ip = _meant(parse(address))
    if ip.is_loopback or ip.is_unspecified or _in(ip, NEVER):
        return False
    return _in(ip, allowed) or (_in(ip, UNICAST) and not _in(ip, NOT_GLOBAL))


def _meant(ip: Address) -> Address:
    """The IPv4 address that one of IPv6 stands for, or the address itself."""
    if isinstance(ip, IPv4Address):
        return ip
    if _in(ip, TRANSLATED):
        return IPv4Address(int(ip) & 0xFFFFFFFF)
    return ip.ipv4_mapped or ip


def _in(ip: Address, networks: Iterable[Network]) -> bool:
    return any(ip in network for network in networks)
