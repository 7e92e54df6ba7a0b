"""The mean of several weights, which often hears other pianos better than each of them (Izmailov, Podoprikhin, Garipov, Vetrov, Wilson,
"Averaging Weights Leads to Wider Optima and Better Generalization", UAI 2018). Legs that went on from each other have weights that can be averaged.

  python3 training/mean_weights.py WEIGHTS... --into MODEL.safetensors
"""
import argparse
import torch
from safetensors.torch import load_file, save_file


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('weights', nargs='+')
    a.add_argument('--into', required=True)
    o = a.parse_args()
    files = [load_file(f) for f in o.weights]
    save_file({name: torch.stack([f[name] for f in files]).mean(0) for name in files[0]}, o.into)


if __name__ == '__main__':
    main()
