"""metering"""
