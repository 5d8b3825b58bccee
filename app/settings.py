"""What the server is told from outside, read once: folders, address, limits."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import platformdirs

from analysis.errors import BadSetup
from app.limits import MB, Limits
from app.public import complaints

DEFAULT_HOST = "127.0.0.1"
# Free in the common lists of ports; any other would do.
DEFAULT_PORT = 8417
# A day of riding at 1 Hz with every channel stays below 10 MB; the rest is room for CSV.
MAX_FILE_BYTES = 64 * 2**20
# More devices than a bike can carry, few enough to be read in one sitting.
MAX_FILES = 24
# Results of some hundred trials; above it the oldest are dropped and computed again when asked for.
CACHE_BYTES = 2**30


YES, NO = ("1", "true", "yes", "on"), ("", "0", "false", "no", "off")
# Variable -> field of Limits and what one unit of the variable is worth.
LIMIT_VARIABLES = {
    "COUNTERCHECK_BODIES_MB": ("bodies_bytes", MB),
    "COUNTERCHECK_READ_S": ("read_s", 1),
    "COUNTERCHECK_READ_MB": ("read_bytes", MB),
    "COUNTERCHECK_READERS": ("readers", 1),
    "COUNTERCHECK_ANALYSES": ("analyses", 1),
    "COUNTERCHECK_QUEUE": ("queue", 1),
    "COUNTERCHECK_DATA_MB": ("data_bytes", MB),
    "COUNTERCHECK_FREE_MB": ("free_bytes", MB),
    "COUNTERCHECK_UPLOADS_PER_HOUR": ("uploads_per_hour", 1),
    "COUNTERCHECK_UPLOAD_MB_PER_HOUR": ("upload_bytes_per_hour", MB),
    "COUNTERCHECK_TRIALS_PER_HOUR": ("trials_per_hour", 1),
    "COUNTERCHECK_OWNER_TRIES_PER_HOUR": ("owner_tries_per_hour", 1),
    "COUNTERCHECK_REQUESTS_PER_S": ("requests_per_s", 1),
}


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Folders, address and limits. `database_url` None: SQLite in `data_dir`; `secret_key` None: kept there.

    `public`: anybody may come, so nothing is listed and everything is counted. `base_url` is then the address that readers
    see, and `proxies` how many proxies of one's own stand in front, each of which adds to X-Forwarded-For.
    """

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
    public: bool = False
    base_url: str | None = None
    proxies: int | None = None
    data_dir_stated: bool = False
    limits: Limits = field(default_factory=Limits)

    @property
    def https(self) -> bool:
        """Whether readers come by https, so that cookies may be bound to it."""
        return self.public and urlsplit(self.base_url or "").scheme == "https"

    @classmethod
    def from_environment(
        cls,
        *,
        data_dir: str | Path | None = None,
        host: str | None = None,
        port: int | None = None,
        public: bool | None = None,
        environ: Mapping[str, str] | None = None,
    ) -> Settings:
        """Arguments first, then COUNTERCHECK_* variables, then the user's own folders.

        With a data folder given, by either way, the results lie in it too, unless COUNTERCHECK_CACHE_DIR is set.

        Raises
        ------
        BadSetup
            A number or switch that is none; for a public server also everything that `public.complaints` finds. One line
            each, all at once.
        """
        env = os.environ if environ is None else environ
        wrong: list[str] = []
        given = data_dir or env.get("COUNTERCHECK_DATA_DIR")
        data = Path(given) if given else platformdirs.user_data_path("countercheck", appauthor=False)
        own_cache = data / "results" if given else platformdirs.user_cache_path("countercheck", appauthor=False)
        found = cls(
            data_dir=data.expanduser().absolute(),
            cache_dir=Path(env.get("COUNTERCHECK_CACHE_DIR") or own_cache).expanduser().absolute(),
            host=host or env.get("COUNTERCHECK_HOST") or DEFAULT_HOST,
            port=_whole(env, "COUNTERCHECK_PORT", wrong, least=0, most=65535, otherwise=DEFAULT_PORT) if port is None else port,
            allowed_hosts=tuple(env.get("COUNTERCHECK_ALLOWED_HOSTS", "").replace(",", " ").split()),
            database_url=env.get("COUNTERCHECK_DATABASE_URL") or None,
            secret_key=env.get("COUNTERCHECK_SECRET_KEY") or None,
            public=_switch(env, "COUNTERCHECK_PUBLIC", wrong) if public is None else public,
            base_url=(env.get("COUNTERCHECK_BASE_URL") or "").rstrip("/") or None,
            proxies=_whole(env, "COUNTERCHECK_PROXIES", wrong, least=0, most=9),
            data_dir_stated=bool(given),
            limits=_limits(env, wrong),
        )
        if found.public:
            wrong += complaints(found)
        if wrong:
            raise BadSetup("\n".join(wrong))
        return found


def _limits(env: Mapping[str, str], wrong: list[str]) -> Limits:
    said = {}
    for variable, (name, unit) in LIMIT_VARIABLES.items():
        number = _whole(env, variable, wrong, least=1, most=10**9)
        if number is not None:
            said[name] = number * unit
    return Limits(**said)


def _whole(
    env: Mapping[str, str], name: str, wrong: list[str], *, least: int, most: int, otherwise: int | None = None
) -> int | None:
    """The variable's whole number; a complaint joins `wrong` where it is none."""
    text = env.get(name, "").strip()
    if not text:
        return otherwise
    if not (text.isascii() and text.isdecimal() and least <= int(text) <= most):
        wrong.append(f"{name} must be a whole number from {least} to {most}; got {text!r}.")
        return otherwise
    return int(text)


def _switch(env: Mapping[str, str], name: str, wrong: list[str]) -> bool:
    text = env.get(name, "").strip().lower()
    if text not in YES + NO:
        wrong.append(f"{name} must be 1 or 0; got {text!r}.")
    return text in YES
