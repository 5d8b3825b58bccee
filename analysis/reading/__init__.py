"""Bytes of one file -> Recording. One module per format; no module here opens a path."""

from analysis.reading.recording import CHANNELS, Recording

__all__ = ["CHANNELS", "Recording"]
