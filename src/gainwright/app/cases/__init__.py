"""Cases: fault finding step by step, stored from the call to the repair, tallied when they are closed."""
