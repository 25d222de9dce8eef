"""All drawing of curves for the page: the only room that knows matplotlib. Each module's head lists its functions."""
