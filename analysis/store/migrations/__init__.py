"""Migrations: brings a store of any earlier version to the present one, losing nothing."""
