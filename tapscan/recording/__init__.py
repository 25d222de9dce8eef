"""Sound comes in: files and (later) microphones. Native rate, native channels, full scale = 1."""
