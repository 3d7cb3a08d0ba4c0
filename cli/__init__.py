"""The commands; no logic of their own."""
