from .curves.compare import compare_curves as compare_curves
from .known import known_truth as known_truth
from .lab.page import lab_truth as lab_truth
from .methods.sensitivity import method_sensitivity as method_sensitivity
from .paper.compare import compare_paper as compare_paper
from .paper.table import paper_template as paper_template
from .pool.metrics import pool_metrics as pool_metrics
from .pool.rule import PoolRule as PoolRule
