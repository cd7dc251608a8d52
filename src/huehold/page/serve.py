"""Runs the page's server: on loopback always, in the local network only when asked to."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import threading
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn
from websockets.exceptions import InvalidState

from huehold.errors import UsageError
from huehold.page.addresses import free_port, lan_addresses
from huehold.page.app import make_app
from huehold.page.certificate import certificate_files, make_certificate
from huehold.page.desk import Desk
from huehold.page.door import Keys, own_hosts

__all__ = ["PageServer"]

_LOOPBACK = ("127.0.0.1", "localhost", "::1")
_NO_BROWSER = "No browser can be opened from here; open the address above in one yourself."


@dataclass(frozen=True, slots=True)
class _Lan:
    listener: socket.socket
    addresses: tuple[str, ...]
    port: int


class PageServer:
    """The server of one run's page.

    Parameters
    ----------
    desk : Desk or None
        The run; without one the page has guided calibration alone.
    port : int
        Port on loopback; 0 takes any.
    lan : bool
        Whether the page may also be had in the local network, over HTTPS.
    lan_port : int
        Port there; 0 takes any.

    Raises
    ------
    UsageError
        If a port is taken, or there is no local network.
    """

    def __init__(
        self, desk: Desk | None, *, port: int = 0, lan: bool = False, lan_port: int = 0
    ) -> None:
        self.keys = Keys()
        self._listener = free_port("127.0.0.1", port)
        self.port = int(self._listener.getsockname()[1])
        self._hosts = own_hosts(_LOOPBACK, self.port)
        self._lan = self._open_lan(lan_port) if lan else None
        self.app = make_app(desk, self.keys, self._hosts)
        self._servers: list[uvicorn.Server] = []

    def _open_lan(self, port: int) -> _Lan:
        addresses = lan_addresses()
        if not addresses:
            self._listener.close()
            raise UsageError(
                "This computer is in no local network, so no phone can reach it; join the "
                "phone's network, or use a camera of this computer."
            )
        listener = free_port("0.0.0.0", port)
        port = int(listener.getsockname()[1])
        self._hosts |= own_hosts((*addresses, *_LOOPBACK), port)
        return _Lan(listener, addresses, port)

    @property
    def address(self) -> str:
        """Address of the page with the key that opens it, for this computer."""
        return f"http://127.0.0.1:{self.port}/enter#{self.keys.new_token('desk')}"

    @property
    def lan_address(self) -> str | None:
        """Address in the local network without a key; None without one."""
        return f"https://{self._lan.addresses[0]}:{self._lan.port}" if self._lan else None

    def run(
        self,
        *,
        open_browser: bool = True,
        on_ready: Callable[[], None] | None = None,
        tell: Callable[[str], None] = lambda sentence: None,
    ) -> None:
        """Serve until `stop` is called or the process is interrupted.

        Parameters
        ----------
        open_browser : bool
            Whether to open the page.
        on_ready : callable, optional
            Called when the page can be had.
        tell : callable, optional
            Called, from another thread, with a sentence if there is no browser to open it in.
        """
        asyncio.run(self._serve(open_browser, on_ready, tell))

    def _open(self, tell: Callable[[str], None]) -> None:
        try:
            opened = webbrowser.open(self.address)
        except (webbrowser.Error, OSError):
            opened = False
        if not opened:
            tell(_NO_BROWSER)

    def stop(self) -> None:
        """Stop serving, from any thread."""
        for server in self._servers:
            server.should_exit = True

    async def _serve(
        self, open_browser: bool, on_ready: Callable[[], None] | None, tell: Callable[[str], None]
    ) -> None:
        with contextlib.ExitStack() as stack:
            jobs = [(self._server(), self._listener)]
            if self._lan is not None:
                jobs.append((self._secure_server(stack, self._lan), self._lan.listener))
            self._servers = [server for server, _ in jobs]
            tasks = [asyncio.create_task(server.serve([sock])) for server, sock in jobs]
            await self._until_started(tasks)
            if open_browser:
                threading.Thread(target=self._open, args=(tell,), daemon=True).start()
            if on_ready is not None:
                on_ready()
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            self.stop()
            results = await asyncio.gather(*tasks, return_exceptions=True)
            await self._cut_off()
            _raise_first(results)

    async def _cut_off(self) -> None:
        """Close the connections whose other end does not answer the good-bye."""
        for server in self._servers:
            for connection in tuple(server.server_state.connections):
                if connection.transport is not None:
                    connection.transport.abort()
        await asyncio.sleep(0)

    async def _until_started(self, tasks: list[asyncio.Task[None]]) -> None:
        while not all(server.started for server in self._servers):
            if any(task.done() for task in tasks):
                return
            await asyncio.sleep(0.02)

    def _server(self, **tls: Any) -> uvicorn.Server:
        config = uvicorn.Config(
            self.app,
            log_level="critical",
            access_log=False,
            server_header=False,
            ws_max_size=2 << 20,
            ws_ping_interval=20,
            ws_ping_timeout=60,
            timeout_graceful_shutdown=2,
            **tls,
        )
        return uvicorn.Server(config)

    def _secure_server(self, stack: contextlib.ExitStack, lan: _Lan) -> uvicorn.Server:
        certificate, key, fingerprint = make_certificate((*lan.addresses, *_LOOPBACK))
        files: tuple[Path, Path] = stack.enter_context(certificate_files(certificate, key))
        self.app.state.phone_address = self.lan_address
        self.app.state.fingerprint = fingerprint
        return self._server(ssl_certfile=str(files[0]), ssl_keyfile=str(files[1]))


def _raise_first(results: list[BaseException | None]) -> None:
    """Raise what a server failed with, except that a page closed while it was being closed."""
    for result in results:
        if isinstance(result, BaseException) and not isinstance(result, InvalidState):
            raise result
