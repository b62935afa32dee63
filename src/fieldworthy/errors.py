"""The root of what the program refuses with; everything that a caller may want to catch comes from it."""


class Error(Exception):
    """Something that fieldworthy cannot work with; its text says what was expected."""
