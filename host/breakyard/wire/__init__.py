"""Bytes in, records out: the protocol's records, their framing, and nothing about files or links.

Import from the modules: `layout` (numbers), `records` (dataclasses, parse, build), `commands` (arguments and
results), `frame` (a stream, piece by piece), `bulk` (a whole file at once), `damage` (what went wrong).
"""
