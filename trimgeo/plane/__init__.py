"""Plane geometry on shapely and numpy alone."""
