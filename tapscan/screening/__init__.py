"""What the numbers mean: note names, rules, limitations and the disposition. Reads records, no sound."""
