"""Alembic's folder. A step that has been released is never edited: a change of tables.py is a new step.

How to write one: docs/register.md, "Changing the tables".
"""
