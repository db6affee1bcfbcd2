"""Whole screens: the session, help, leaving."""
