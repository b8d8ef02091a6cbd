"""Which addresses are this machine itself."""

from __future__ import annotations

import ipaddress


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach ``host``."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
