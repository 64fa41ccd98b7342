"""Speaks the protocol with a logger over any link."""
