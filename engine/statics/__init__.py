"""Bars on a chuck and supports: loads, where supports stand, what a freed part does."""
