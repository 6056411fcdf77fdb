"""A class on one server."""
