from .known import known_truth as known_truth
