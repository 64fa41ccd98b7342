"""Links move bytes between host and logger and know nothing of records."""
