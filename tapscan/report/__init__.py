"""What people read: the JSON, the page and its figures. Reads records only."""
