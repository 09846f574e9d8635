"""What each page asks."""
