"""Practice: a simulated chain with a hidden fault, and the demonstration of the whole job."""
