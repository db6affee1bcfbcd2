"""Panels of the screens; each draws itself from a snapshot."""
