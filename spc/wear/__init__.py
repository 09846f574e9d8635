"""Tools that wear: lives, what is left, what was forecast, where to aim."""
