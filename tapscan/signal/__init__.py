"""Arrays to records: strikes, sub-bands, modes, ring-down, tones. Knows no files and no rules."""
