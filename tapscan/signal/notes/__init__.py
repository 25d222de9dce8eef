"""Keys played one by one: when, which, what buzzes along and what rings on after the damper."""
