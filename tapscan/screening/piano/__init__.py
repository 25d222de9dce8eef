"""Two scans of a plate in its piano, before and after one job or across seasons."""
