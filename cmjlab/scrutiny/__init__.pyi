from .curves.compare import compare_curves as compare_curves
from .known import known_truth as known_truth
from .methods.sensitivity import method_sensitivity as method_sensitivity
