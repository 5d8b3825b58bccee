"""From recordings of one ride to deltas, allowance, verdicts and findings; pure Python, no disk, no clock, no globals."""
