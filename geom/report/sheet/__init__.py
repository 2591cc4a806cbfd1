"""The plan as one HTML file that opens from disk: nothing is loaded from anywhere."""

from geom.report.sheet.page import plan_html

__all__ = ["plan_html"]
