"""A whole shop at once: phones that tap and dashboards that stay open, on one real server."""
