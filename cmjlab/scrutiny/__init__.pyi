from ..truth.budget import known_truth as known_truth
