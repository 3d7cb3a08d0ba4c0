"""How it looks: pages from entries."""
