"""Cases: finding the fault step by step, kept from the call to the repair, counted when they are closed."""
