"""Each file moves bytes one way or another and knows nothing of records."""
