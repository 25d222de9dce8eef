"""Where the taps are in a recording, and whether an input is fit to record them."""
