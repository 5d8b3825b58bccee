"""The version of the figures: raised whenever the same files and set-up could give other numbers."""

ANALYSIS_VERSION = "11"
