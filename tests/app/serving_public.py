"""A public server's settings and requests as its own page sends them, for the tests that need one."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import quote

from app.settings import Settings

BASE = "https://rides.example"
SECRET = "mU3vJ0qkZ7xTfW2bLr9sYh5dNc8gPa1e"  # typed for these tests


def public_environment(folder: Path, **changes: str) -> dict[str, str]:
    """Everything a public server needs; `changes` by the variable's name without its prefix, "" takes one away."""
    folder.mkdir(mode=0o700, exist_ok=True)
    said = {
        "PUBLIC": "1", "SECRET_KEY": SECRET, "BASE_URL": BASE, "ALLOWED_HOSTS": "rides.example", "PROXIES": "1",
        "DATA_DIR": str(folder),
    } | changes  # fmt: skip
    return {f"COUNTERCHECK_{name}": value for name, value in said.items()}


def public_settings(folder: Path, **changes: str) -> Settings:
    return Settings.from_environment(environ=public_environment(folder, **changes))


def from_address(address: str) -> dict[str, str]:
    """Headers of a request of the page itself that comes through the one proxy."""
    return {
        "Host": "rides.example", "Origin": BASE, "X-Requested-With": "countercheck", "X-Forwarded-For": address,
    }  # fmt: skip


def send_publicly(client, data: bytes, name: str, address: str = "192.0.2.7"):
    return client.post("/upload", data=data, headers=from_address(address) | {"X-File-Name": quote(name)})
