"""What the rest of the program is told: plain records of processes, parts, wear, gauges, months and cases."""
