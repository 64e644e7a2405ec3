"""What the program does, a package for each noun of the work, on values and on the ports that it needs from outside."""
