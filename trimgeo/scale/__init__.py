"""Where millimetres come from."""
