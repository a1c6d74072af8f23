"""Versions: one file for each version of the store's tables, never changed once released."""
