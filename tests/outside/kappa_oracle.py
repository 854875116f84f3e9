"""Weighted kappa by scikit-learn: one JSON list of pairs a line on standard input, one JSON answer a line."""

import json
import math
import sys
import warnings

from sklearn.metrics import cohen_kappa_score

warnings.simplefilter("ignore")
for line in sys.stdin:
    pairs = json.loads(line)
    one, other = [p[0] for p in pairs], [p[1] for p in pairs]
    answer = {}
    for weights in ("linear", "quadratic"):
        # Every value of the score is a category, so that the distance between two is the distance of the scores.
        value = float(cohen_kappa_score(one, other, weights=weights, labels=list(range(16))))
        answer[weights] = None if math.isnan(value) else value
    print(json.dumps(answer))
