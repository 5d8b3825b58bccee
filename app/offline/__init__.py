"""The report as one file that works without a server: the page's own views, styles and scripts, its data beside them."""

from app.offline.report import offline_report

__all__ = ["offline_report"]
