"""signals"""
