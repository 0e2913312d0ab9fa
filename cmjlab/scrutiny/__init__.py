"""Would a sceptical reviewer believe it: ``cj.scrutiny``.

How far the instrument is from the truth
    known_truth: every metric against jumps whose values are known exactly
"""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)
