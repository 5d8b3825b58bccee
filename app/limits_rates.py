"""How often one address may ask: a virtual clock per address and rule (the generic cell rate algorithm of ITU-T I.371, annex A;
from memory). A burst up to the whole allowance passes at once, then as much as has come back meanwhile.

An address is kept as a keyed hash only, and for no longer than it counts.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import math
import sqlite3
import time
from dataclasses import dataclass

from analysis.errors import CountercheckError
from app.limits import Limits
from app.limits_shared import Shared

# An IPv6 customer gets a network of 64 bits at least (RFC 6177), so single addresses cost nothing.
IPV6_BITS = 64
# What has come back in full is forgotten so often.
SWEEP_S = 60.0
HOUR_S = 3600.0
# Opening a page is some thirty requests at once; what a reader may ask per second is therefore counted over ten.
REQUESTS_OVER_S = 10.0


class TooMany(CountercheckError):
    """This address has asked too often; `retry_s` until it may again."""

    def __init__(self, what: str, retry_s: float) -> None:
        self.retry_s = max(1, math.ceil(retry_s))
        soon = f"{self.retry_s} s" if self.retry_s < 120 else f"{math.ceil(self.retry_s / 60)} min"
        super().__init__(f"More {what} came from your network than this server takes; try again in {soon}.")


@dataclass(frozen=True, kw_only=True)
class Rule:
    """`most` of `what` over `per_s` seconds."""

    name: str
    what: str
    most: float
    per_s: float


def rules(limits: Limits) -> dict[str, Rule]:
    """The rules by name."""
    requests = limits.requests_per_s * REQUESTS_OVER_S
    return {
        "uploads": Rule(name="uploads", what="uploads", most=limits.uploads_per_hour, per_s=HOUR_S),
        "bytes": Rule(name="bytes", what="uploaded data", most=limits.upload_bytes_per_hour, per_s=HOUR_S),
        "trials": Rule(name="trials", what="new trials", most=limits.trials_per_hour, per_s=HOUR_S),
        "owner": Rule(name="owner", what="owner links", most=limits.owner_tries_per_hour, per_s=HOUR_S),
        "requests": Rule(name="requests", what="requests", most=requests, per_s=REQUESTS_OVER_S),
    }


class Rates:
    """Counts for all workers that share the table."""

    def __init__(self, shared: Shared, limits: Limits, secret: str | bytes) -> None:
        self._shared = shared
        self._rules = rules(limits)
        self._secret = secret if isinstance(secret, bytes) else secret.encode()
        self._swept_s = 0.0

    def take(self, rule_name: str, address: str | None, amount: float = 1.0) -> None:
        """Count this. Raises TooMany, and then counts nothing."""
        rule = self._rules[rule_name]
        now = time.time()  # one clock for all workers; where it is set back, somebody waits a little longer
        cost_s = amount * rule.per_s / rule.most
        who = self._who(rule.name, address)
        free_at_s = self._shared.ask(lambda table: _taken(table, who, now, cost_s, rule.per_s), now)
        if free_at_s > now:
            raise TooMany(rule.what, free_at_s - now)
        if now - self._swept_s > SWEEP_S:
            self._swept_s = now
            self._shared.ask(lambda table: table.execute("DELETE FROM rate WHERE free_at_s < ?", (now,)).rowcount, 0)

    def _who(self, rule: str, address: str | None) -> str:
        text = f"{rule} {network_of(address)}"
        return hmac.new(self._secret, text.encode(), hashlib.sha256).hexdigest()[:32]


def network_of(address: str | None) -> str:
    """Whom an address stands for: itself, or its IPv6 network; whoever cannot be told apart counts as one."""
    try:
        found = ipaddress.ip_address((address or "").partition("%")[0])
    except ValueError:
        return "unknown"
    found = getattr(found, "ipv4_mapped", None) or found
    if found.version == 4:
        return str(found)
    return str(ipaddress.ip_network((found, IPV6_BITS), strict=False))


def _taken(table: sqlite3.Connection, who: str, now: float, cost_s: float, burst_s: float) -> float:
    """When this is free: not later than `now` where it was taken. `free_at_s` in the table: when all has come back."""
    row = table.execute("SELECT free_at_s FROM rate WHERE who = ?", (who,)).fetchone()
    after_s = max(row[0] if row else now, now) + cost_s
    if after_s - burst_s > now and row is not None and row[0] > now:
        return after_s - burst_s
    table.execute("INSERT OR REPLACE INTO rate VALUES (?, ?)", (who, after_s))
    return now
