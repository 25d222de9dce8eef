"""The only place that joins the rooms. Prints nothing: progress goes to a callback."""
