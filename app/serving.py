"""Runs the app under waitress."""

from __future__ import annotations

import contextlib
import errno
from typing import Any

import waitress

from analysis.errors import CountercheckError
from app.main import create_app
from app.services import CONFIG_KEY, Services
from app.serving_bodies import counted_channel
from app.settings import Settings
from app.store import StoreProblem

# Equal to gunicorn in our measurements and the same on every system; one thread per reader who scrubs at once.
THREADS = 8
# Above the app's own limit, so that the app's sentence is what an oversize upload gets.
BODY_FACTOR = 4


class UnusableAddress(CountercheckError):
    """The server cannot listen where it was told to."""


class Server:
    """An app that already listens (the port is taken) but answers only once `run` is called."""

    def __init__(self, settings: Settings) -> None:
        app = create_app(settings)
        self.services: Services = app.server.config[CONFIG_KEY]
        with contextlib.suppress(StoreProblem):  # a busy database is swept the next time
            self.services.store.sweep()
        self._listener = _listening(app.server, settings)
        self.services.gate.counts_bodies = False
        for one in self._listener_sockets():
            one.channel_class = counted_channel(self.services.gate.bodies)
        self.address = _address(self._listener, settings)

    def _listener_sockets(self) -> list[Any]:
        """One for each address it listens at: a name may stand for several."""
        several = getattr(self._listener, "map", None)
        return [one for one in several.values() if hasattr(one, "channel_class")] if several else [self._listener]

    def run(self) -> None:
        """Answer until Ctrl-C."""
        try:
            self._listener.run()
        finally:
            self.close()

    def close(self) -> None:
        self._listener.close()
        self.services.close()


def _listening(wsgi: Any, settings: Settings) -> Any:
    try:
        return waitress.create_server(
            wsgi,
            host=settings.host,
            port=settings.port,
            threads=THREADS,
            ident=None,  # no server name in answers
            # whom the proxies' words may be taken from is settled in `protection`
            clear_untrusted_proxy_headers=not settings.public,
            max_request_body_size=BODY_FACTOR * settings.max_file_bytes,
            # uploads hold positions and names: above the usual 512 KB waitress would spool them to the disk
            inbuf_overflow=BODY_FACTOR * settings.max_file_bytes + 1,
        )
    except OSError as problem:
        where = f"{settings.host}:{settings.port}"
        if problem.errno == errno.EADDRINUSE:
            sentence = f"Port {settings.port} is in use; stop what uses it, or choose another with --port."
        elif problem.errno == errno.EACCES:
            sentence = f"Port {settings.port} may not be used by you; choose one above 1023 with --port."
        else:
            reason = problem.strerror or problem
            sentence = f"The server cannot listen on {where} ({reason}); choose another --host or --port."
        raise UnusableAddress(sentence) from None
    except ValueError:
        raise UnusableAddress(f"{settings.host!r} is not an address of this machine; choose another --host.") from None


def _address(listener: Any, settings: Settings) -> str:
    """The address to open in a browser on this machine."""
    listens = getattr(listener, "effective_listen", None)
    port = listens[0][1] if listens else listener.effective_port
    host = "127.0.0.1" if settings.host in ("0.0.0.0", "*") else "::1" if settings.host == "::" else settings.host
    return f"http://{f'[{host}]' if ':' in host else host}:{port}"
