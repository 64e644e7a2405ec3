"""The only package that touches the outside world: databases, files, sound devices, processes, printing, drawing."""
