"""Screens: one page a file; each asks and shows, and computes nothing."""
