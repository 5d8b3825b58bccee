"""From recordings of one ride to deltas, allowance, verdicts and findings; pure Python, no disk, no clock, no globals."""

from analysis.version import ANALYSIS_VERSION

__all__ = ["ANALYSIS_VERSION"]
