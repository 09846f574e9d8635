"""From readings to what `spc` needs, and from its verdicts to the state of each process."""
