"""The command line: what is typed, what is printed, and what needs no shop folder."""
