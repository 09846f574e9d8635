"""The plan of a shop: its model, its file, its checks, and what is read off it alone."""
