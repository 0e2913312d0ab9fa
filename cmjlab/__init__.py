"""cmjlab: countermovement jumps on force plates, from raw force to a block report.

Heavy parts load when they are first used; the public names stand in ``__init__.pyi``.
"""

import lazy_loader as lazy

__version__ = "0.2.0"
__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)
