"""The server running: a bound socket, uvicorn over it, in this thread or in one of its own."""

from __future__ import annotations

import errno
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol
from websockets.protocol import OPEN

from fieldlog.errors import FieldlogError, UsageError
from fieldlog.whole import reason

LOOPBACK = "127.0.0.1"
LARGEST_MESSAGE = 64 * 1024
"""Bytes of one message of a WebSocket."""


ANOTHER_PORT = "name another with --port, or leave it out for any free one"


def bound(host: str = LOOPBACK, port: int = 0, *, todo: str = ANOTHER_PORT) -> socket.socket:
    """A listening socket; port 0: one that is free. Raises ``UsageError`` for one that cannot be had.

    ``todo``: what to do where the port is another program's.
    """
    one = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        one.bind((host, port))
        one.listen(128)
    except (OSError, OverflowError) as error:
        one.close()
        why = reason(error) if isinstance(error, OSError) else str(error)
        if isinstance(error, OSError) and error.errno == errno.EADDRNOTAVAIL:
            todo = "name an address that this machine has"
        raise UsageError(f"{host}:{port} cannot be listened on ({why})", todo=todo) from None
    return one


def port_of(one: socket.socket) -> int:
    """The port that a bound socket has."""
    port: int = one.getsockname()[1]
    return port


def own_hosts(port: int) -> tuple[str, ...]:
    """What this machine's own browser may call a server on the loopback."""
    return f"{LOOPBACK}:{port}", f"localhost:{port}"


class _Server(uvicorn.Server):
    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End all lines. One that the other end is closing is not told so: uvicorn (0.54) would end there with a fault,
        in a thread of its own, and leave every other line open.
        """
        for line in self.server_state.connections:
            if isinstance(line, WebSocketsSansIOProtocol) and line.handshake_complete:
                line.close_sent = line.close_sent or line.conn.state is not OPEN
        await super().shutdown(sockets)


def server_of(
    app: ASGIApp, *, certificate: Path | None = None, key: Path | None = None
) -> uvicorn.Server:
    """uvicorn, told to say nothing about itself, to trust no proxy and to hold few at once."""
    return _Server(
        uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,
            http="h11",
            loop="asyncio",
            ws="websockets-sansio",
            ws_max_size=LARGEST_MESSAGE,
            ws_per_message_deflate=False,  # its memory is not bounded
            h11_max_incomplete_event_size=32 * 1024,
            limit_concurrency=128,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=3,
            lifespan="off",
            ssl_certfile=certificate,
            ssl_keyfile=key,
        )
    )


def serve(
    app: ASGIApp,
    listening: socket.socket,
    *,
    certificate: Path | None = None,
    key: Path | None = None,
    ready: Callable[[], None] = lambda: None,
) -> None:
    """Serve until somebody interrupts; ``ready`` is called once the socket is served."""
    ready()  # the socket listens already: who comes now waits the moment until uvicorn is up
    server_of(app, certificate=certificate, key=key).run(sockets=[listening])


@contextmanager
def running(
    app: ASGIApp,
    listening: socket.socket,
    *,
    certificate: Path | None = None,
    key: Path | None = None,
) -> Iterator[None]:
    """Serve in a thread while the block lasts."""
    server = server_of(app, certificate=certificate, key=key)
    thread = threading.Thread(
        target=server.run, kwargs={"sockets": [listening]}, name="server", daemon=True
    )
    thread.start()
    try:
        while not server.started:
            if not thread.is_alive():
                raise FieldlogError("the server did not start", todo="see what it printed")
            thread.join(0.01)
        yield
    finally:
        server.should_exit = True
        thread.join(10)
        listening.close()
