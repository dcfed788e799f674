"""Panels for notebooks and pages: a frozen session, and thin widgets over it."""
