"""The only place that touches the world: chart rendering, sound devices, cases on disk, what is installed."""
