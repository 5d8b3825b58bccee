"""The device under review at a glance: what it is, what is claimed of it, how its reviewer came by it, its firmware."""

from __future__ import annotations

from typing import Any

from dash import html

from analysis.dossier.document import Dossier, Firmware


def device_facts(dossier: Dossier) -> html.Dl:
    """What is stated, in a list; how it was obtained is always said, stated or not."""
    device = dossier.device
    price = None if device.price is None else f"{device.price:,.2f} {device.currency or ''}".replace(".00", "").strip()
    note = f" ({device.obtained_note})" if device.obtained_note else ""
    facts: list[tuple[str, Any]] = [
        ("Device", device.name), ("What it is", device.about), ("Measures at", device.point),
        ("Claim", None if device.claim_pct is None else f"±{device.claim_pct:g}\u202f% of reading"),
        ("Obtained", f"{device.obtained}{note}"), ("Price", price), ("Ties with the maker", device.ties or "not stated"),
        ("Firmware", html.Ul([html.Li(_firmware(f)) for f in dossier.firmware]) if dossier.firmware else None),
    ]  # fmt: skip
    known = [(name, words) for name, words in facts if words]
    return html.Dl([part for name, words in known for part in (html.Dt(name), html.Dd(words))], className="facts device-facts")


def _firmware(entry: Firmware) -> str:
    since = f" since {entry.since}" if entry.since else ""
    return f"{entry.version}{since}" + (f": {entry.note}" if entry.note else "")
