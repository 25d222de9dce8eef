"""Where on the plate a change lies: measured patterns expanded on a rough model, and belief over its parts."""
