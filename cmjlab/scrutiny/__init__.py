"""Would a sceptical reviewer believe it: ``cj.scrutiny``.

How far the instrument is from the truth
    known_truth: every metric against jumps whose values are known exactly
    lab_truth: the same for a lab's own plates, squad and method, and its share of the typical error

Where in the movement something changed
    compare_curves: force, power, velocity, displacement along the phases, with bands for whole curves

Whether the conclusion survives
    method_sensitivity: every target answered in every defensible way

Which numbers may stand side by side
    pool_metrics: which metrics of two plates, methods or labs can be pooled, and by which conversion
    PoolRule: how much pooling may add to the noise

Does it say what others found
    paper_template: the table that is filled in from a published one
    compare_paper: a published table beside this study: replicated, not replicated, or cannot tell
"""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)
