"""Gallery."""


def make(source):
    pass
