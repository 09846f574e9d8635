"""From what a signal looks like to how likely each cause is."""
