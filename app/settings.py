"""What the server is told from outside, read once: folders, address, limits."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from analysis.errors import BadSetup

DEFAULT_HOST = "127.0.0.1"
# Free in the common lists of ports; any other would do.
DEFAULT_PORT = 8417
# A day of riding at 1 Hz with every channel stays below 10 MB; the rest is room for CSV.
MAX_FILE_BYTES = 64 * 2**20
# More devices than a bike can carry, few enough to be read in one sitting.
MAX_FILES = 24
# Results of some hundred trials; above it the oldest are dropped and computed again when asked for.
CACHE_BYTES = 2**30


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Folders, address and limits. `database_url` None: SQLite in `data_dir`; `secret_key` None: kept there."""

    data_dir: Path
    cache_dir: Path
    host: str = DEFAULT_HOST
    port: int = DEFAULT_PORT
    allowed_hosts: tuple[str, ...] = ()
    database_url: str | None = None
    secret_key: str | None = None
    max_file_bytes: int = MAX_FILE_BYTES
    max_files: int = MAX_FILES
    cache_bytes: int = CACHE_BYTES

    @classmethod
    def from_environment(
        cls,
        *,
        data_dir: str | Path | None = None,
        host: str | None = None,
        port: int | None = None,
        environ: Mapping[str, str] | None = None,
    ) -> Settings:
        """Arguments first, then COUNTERCHECK_* variables, then the user's own folders.

        With a data folder given, by either way, the results lie in it too, unless COUNTERCHECK_CACHE_DIR is set.

        Raises
        ------
        BadSetup
            COUNTERCHECK_PORT is not a port number.
        """
        env = os.environ if environ is None else environ
        given = data_dir or env.get("COUNTERCHECK_DATA_DIR")
        data = Path(given) if given else platformdirs.user_data_path("countercheck", appauthor=False)
        own_cache = data / "results" if given else platformdirs.user_cache_path("countercheck", appauthor=False)
        allowed = env.get("COUNTERCHECK_ALLOWED_HOSTS", "").replace(",", " ").split()
        return cls(
            data_dir=data.expanduser().absolute(),
            cache_dir=Path(env.get("COUNTERCHECK_CACHE_DIR") or own_cache).expanduser().absolute(),
            host=host or env.get("COUNTERCHECK_HOST") or DEFAULT_HOST,
            port=_port(env.get("COUNTERCHECK_PORT")) if port is None else port,
            allowed_hosts=tuple(allowed),
            database_url=env.get("COUNTERCHECK_DATABASE_URL") or None,
            secret_key=env.get("COUNTERCHECK_SECRET_KEY") or None,
        )


def _port(text: str | None) -> int:
    if not text:
        return DEFAULT_PORT
    if not text.isdecimal() or not 0 <= int(text) <= 65535:
        raise BadSetup(f"COUNTERCHECK_PORT must be a whole number from 0 to 65535; got {text!r}.")
    return int(text)
