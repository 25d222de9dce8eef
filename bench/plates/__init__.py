"""Finite-element generator of invented piano plates with known flaws; see README.md."""
