"""For a WSGI server of one's own: `app.wsgi:application`, or the factory `app.wsgi:make()`.

It reads COUNTERCHECK_* variables alone and is public where COUNTERCHECK_PUBLIC=1 says so. Nothing happens on import: the
app is made when the server asks for it, once per process, so each worker has its own threads and connections. For the
same reason a server must not load it before it forks (no `--preload`).
"""

from __future__ import annotations

import sys
from typing import Any

# What gunicorn takes for "this will not get better by starting again".
NO_BOOT = 3


def make() -> Any:
    """The WSGI application. Ends the process, with every reason on stderr, where it must not start."""
    from analysis.errors import CountercheckError
    from app import logs
    from app.main import create_app
    from app.settings import Settings

    try:
        settings = Settings.from_environment()
        if settings.public:
            logs.to_stderr()
        return create_app(settings).server
    except CountercheckError as problem:
        print(problem, file=sys.stderr, flush=True)
        raise SystemExit(NO_BOOT) from None


def __getattr__(name: str) -> Any:
    if name != "application":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    made = globals()["application"] = make()
    return made
