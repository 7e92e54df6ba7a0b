"""A point between two weights of one descent, the smaller network grown to the size of the larger (zero weights to what is new, so that it hears the same).

  python3 training/between.py BEFORE.safetensors AFTER.safetensors --share 0.5 --into model.safetensors

Method: weights before and after a change of what is learned keep much of both at a point between them (Wortsman et al. 2022, "Robust fine-tuning
of zero-shot models").
"""
import argparse
import torch
from safetensors import safe_open
from safetensors.torch import load_file, save_file
from network import NoteNetwork
from train import SIZES, grown


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('before')
    a.add_argument('after')
    a.add_argument('--share', type=float, default=0.5, help='0 is before, 1 is after')
    a.add_argument('--into', required=True)
    o = a.parse_args()
    with safe_open(o.after, 'pt') as file:
        metadata = file.metadata()
    sizes = dict(zip(SIZES, map(int, metadata['sizes'].split(','))))
    before, after = load_file(o.before), load_file(o.after)
    network = NoteNetwork(**sizes)
    network.load_state_dict({k: v for k, v in after.items() if k != 'calibration'})
    grown({k: v for k, v in before.items() if k != 'calibration'}, network)  # what is new hears as it does after, and is not listened to
    before = network.state_dict() | {'calibration': before['calibration']}
    save_file({k: torch.lerp(before[k], after[k], o.share).contiguous() for k in after}, o.into, metadata)


if __name__ == '__main__':
    main()
