"""Bench: the phone page, the routes that take each lap exactly once, and who may come in."""
