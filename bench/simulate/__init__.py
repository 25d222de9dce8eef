"""Simulation that only benches and tests use: rooms, nuisances, cracks that breathe, modes above the tables; `tapscan/demo` makes plates and taps."""
