"""Who asks: a club by its key, else an address; known to the store by a keyed hash alone."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
from collections.abc import Sequence

from starlette.requests import Request

from service.api.problems import ProblemError
from service.stores.base import Store

#: The field that carries the key of a club's link.
CLUB = "Trefoil-Club"
#: How many bits of an IPv6 address name one asker: what one household or server is given.
IPV6_BITS = 64

Network = ipaddress.IPv4Network | ipaddress.IPv6Network
Address = ipaddress.IPv4Address | ipaddress.IPv6Address


def networks(texts: Sequence[str]) -> tuple[Network, ...]:
    """Return the networks of proxies that are believed what they say."""
    return tuple(ipaddress.ip_network(text, strict=False) for text in texts)


def address(request: Request, proxies: Sequence[Network]) -> str:
    """Return the address that a request comes from, of IPv6 only its first 64 bits.

    X-Forwarded-For is believed from trusted proxies alone, read from its end up to the first
    address that is none of theirs.
    """
    peer = request.client.host if request.client else ""
    chain = [one.strip() for one in ",".join(request.headers.getlist("x-forwarded-for")).split(",")]
    found = _read(peer)
    while chain and found is not None and _trusted(found, proxies):
        before = _read(chain.pop())
        if before is None:
            break
        found = before
    if found is None:
        return peer or "local"
    if isinstance(found, ipaddress.IPv6Address):
        return str(ipaddress.ip_network((found, IPV6_BITS), strict=False))
    return str(found)


def of_proxy(host: str, proxies: Sequence[Network]) -> bool:
    """Return whether a connection from an address is one of a trusted proxy."""
    found = _read(host)
    return found is not None and _trusted(found, proxies)


def scheme(request: Request, proxies: Sequence[Network]) -> str:
    """Return by which scheme a browser has called, as a trusted proxy says or as it is here."""
    peer = _read(request.client.host if request.client else "")
    said = request.headers.get("x-forwarded-proto", "").rpartition(",")[2].strip().lower()
    if peer is not None and _trusted(peer, proxies) and said in ("http", "https"):
        return said
    return request.url.scheme


def _read(text: str) -> Address | None:
    bare = text.removeprefix("[").partition("]")[0] if text.startswith("[") else text
    if bare.count(":") == 1:
        # An IPv4 address with a port.
        bare = bare.partition(":")[0]
    try:
        found = ipaddress.ip_address(bare.partition("%")[0])
    except ValueError:
        return None
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return mapped or found


def _trusted(own: Address, proxies: Sequence[Network]) -> bool:
    return any(own in network for network in proxies)


def secret(store: Store) -> bytes:
    """Return the key of the hashes, made once for a store."""
    found = store.things.get("secret", "askers")
    if found is None:
        store.things.put("secret", "askers", secrets.token_bytes(32))
        found = store.things.get("secret", "askers")
    assert found is not None
    return found


def hashed(key: bytes, text: str) -> str:
    """Return the name by which the store knows an asker."""
    return hmac.new(key, text.encode(), hashlib.sha256).hexdigest()[:32]


def club(store: Store, key: str) -> str:
    """Return what names a club as an asker; raises ProblemError for a key of none."""
    from service import clubs

    try:
        found = clubs.asker(store, key)
    except clubs.NotAllowedError:
        text = f"the key in {CLUB} only reads a shelf; with one that adds to it the club asks"
        raise ProblemError(403, text, header=CLUB) from None
    if found is None:
        raise ProblemError(403, f"the key in {CLUB} {clubs.NO_KEY}", header=CLUB)
    return found
