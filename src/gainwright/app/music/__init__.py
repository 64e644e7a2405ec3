"""Music: scanning folders and the allowance that follows from what is in them."""
