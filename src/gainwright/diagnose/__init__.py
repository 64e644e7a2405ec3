"""What is wrong with a chain: belief over causes given the evidence, and the next best test."""

__all__: list[str] = []
