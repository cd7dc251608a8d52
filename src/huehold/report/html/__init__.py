"""The self-contained HTML report: its page, its data, its script and its style."""

from huehold.report.html.page import report_html, write_report

__all__ = ["report_html", "write_report"]
