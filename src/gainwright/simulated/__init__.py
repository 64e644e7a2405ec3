"""simulated"""
