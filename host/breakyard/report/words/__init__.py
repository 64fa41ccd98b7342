"""Sentences, tables and rounded numbers, shared by the page and the command line."""
