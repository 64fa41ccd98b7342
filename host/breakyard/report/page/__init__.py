"""The report: one HTML page that stands alone, and its Markdown twin."""
