"""The geometry of the cut: pure functions on millimetres."""
