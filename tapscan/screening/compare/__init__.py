"""A later scan beside a plate's earlier ones: pairing, repeatability, what moved, and what that means."""
