"""Frozen values; nothing here opens a file."""
