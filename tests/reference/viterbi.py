"""hmmlearn's path, log-likelihood and posteriors for given parameters: JSON in, JSON out."""

import json
import sys

import numpy as np
from hmmlearn.hmm import GaussianHMM

given = json.load(sys.stdin)
model = GaussianHMM(n_components=len(given["start"]), covariance_type="diag")
model.startprob_ = np.array(given["start"])
model.transmat_ = np.array(given["transition"])
model.means_ = np.array(given["means"])[:, None]
model.covars_ = np.array(given["variances"])[:, None]
signal = np.array(given["signal"])[:, None]
_, path = model.decode(signal, algorithm="viterbi")
print(json.dumps({
    "path": path.tolist(),
    "log_likelihood": model.score(signal),
    "posterior": model.predict_proba(signal).ravel().tolist(),
}))
