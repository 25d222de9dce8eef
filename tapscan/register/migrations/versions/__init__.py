"""One file a step: r0001, r0002, ..."""
