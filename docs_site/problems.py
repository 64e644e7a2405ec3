"""What stops a build."""


class SiteError(Exception):
    """The documents can't become a site; the text names each place and what is wrong there."""
