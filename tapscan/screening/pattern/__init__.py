"""A plate beside other castings of its pattern, without an earlier scan of its own."""
