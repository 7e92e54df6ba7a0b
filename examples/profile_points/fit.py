"""Works out the weights of `Tuning` in src/notes/own_piano.rs from what `profile_points --witnesses FILE` has written.

    python3 examples/profile_points/fit.py FILE...

Input: lines of the network's log-odds, need, divergence (natural logarithms) and 0 or 1. Output: the weights.
Method: logistic regression with the network's log-odds, as a chord counts them, as a fixed offset, by Newton's method. A file counts by the share of its frames that are kept; the sum of the squared
weights, halved, is added to the loss.
"""
import sys
import numpy as np

NAMES = ('always', 'need', 'unexplained', 'need_unexplained')
TRUSTED = 1.8  # as in `Tuning`: frames that are explained worse are left out
TOO_LITTLE = 0.5  # as in src/notes/held.rs: what is added to the mean log-odds over a chord in any case


def main():
    rows, weights = [], []
    for path in sys.argv[1:]:
        some = np.loadtxt(path)
        rows.append(some[some[:, 2] < TRUSTED])
        weights.append(np.full(len(rows[-1]), 1 / len(some)))
    network, need, unexplained, held = np.concatenate(rows).T
    network = network + TOO_LITTLE
    weight = np.concatenate(weights) * len(network) / len(sys.argv[1:])
    x = np.stack([np.ones_like(need), need, unexplained, need * unexplained], 1)
    fitted = np.zeros(x.shape[1])
    for _ in range(30):
        p = 1 / (1 + np.exp(-(network + x @ fitted)))
        gradient = x.T @ (weight * (held - p)) - fitted
        fitted += np.linalg.solve((x * (weight * p * (1 - p))[:, None]).T @ x + np.eye(len(fitted)), gradient)
    for name, value in zip(NAMES, fitted):
        print(f'{name}: {value:.2f},')
    loss = lambda odds: np.average(np.logaddexp(0, np.where(held > 0, -odds, odds)), weights=weight)
    print(f'loss a key: {loss(network):.4f} by the network, {loss(network + x @ fitted):.4f} with the weights')


main()
