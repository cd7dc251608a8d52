"""The addresses this computer has in the local network, and a port that is free."""

from __future__ import annotations

import socket

from huehold.errors import UsageError

__all__ = ["free_port", "lan_addresses"]


def lan_addresses() -> tuple[str, ...]:
    """Return the IPv4 addresses by which neighbours reach this computer; may be empty.

    The one that packets to the outside would leave from comes first; nothing is sent.
    """
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737)
            found.append(probe.getsockname()[0])
        except OSError:
            pass
    try:
        infos = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        found += [str(info[4][0]) for info in infos]
    except OSError:
        pass
    return tuple(dict.fromkeys(a for a in found if not a.startswith("127.")))


def free_port(host: str, port: int) -> socket.socket:
    """Bind a listening socket.

    Parameters
    ----------
    host : str
        Address to listen at.
    port : int
        The port wanted; 0 takes any.

    Raises
    ------
    UsageError
        If the port is taken or not allowed.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        raise UsageError(
            f"Port {port} at {host} cannot be used ({error.strerror}); another program may hold "
            "it. Name another with --port, or leave it out to take any free one."
        ) from error
    return listener
