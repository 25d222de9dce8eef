"""An invented shop and its simulated plates."""
