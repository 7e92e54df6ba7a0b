"""Writes the golden frames against which tests/golden_frames.rs holds the Rust code.

    python training/golden.py [--weights MODEL.safetensors] --into tests/data

golden_model.safetensors: the weights (of MODEL, or small seeded random ones), of 16 bits as those that ship; golden_frames.safetensors: 'samples' (a made-up
chord with noise and a rest), 'frames' and 'keys' (numbers of some frames and keys), 'inputs' [frames, 220, keys] of those, 'sounding' and 'onset' (calibrated
probabilities) [all frames, 88], of the second look 'later_sounding', 'later_onset' and 'pedal' [all frames].
Whole numbers of 16 bits count steps of 1/32768. Regenerate only when the front end or the network's shape changes.
"""
import argparse
import math
import os
import torch
from safetensors.torch import load_file, save_file
from front_end import KEYS, RATE, FrontEnd
from network import DOUBT, NoteNetwork

STEPS = 32768
SIZES = dict(glance=8, first=24, opinion=8, context=12, joined=12, memory=12, last=8, back=8, pedal=4, told=4, among=8)


def in_steps(values):
    return (values * STEPS).round().clamp(-STEPS, STEPS - 1).to(torch.int16).contiguous()


def sound():
    generator = torch.Generator().manual_seed(3)
    t = torch.arange(int(0.65 * RATE), dtype=torch.float64) / RATE
    out = torch.zeros_like(t)
    for strike, f0 in ((0.05, 73.4), (0.06, 185.0), (0.055, 233.1), (0.3, 554.4), (0.4, 1318.5)):
        since = (t - strike).clamp_min(0)
        for n in range(1, 9):
            f = n * f0 * math.sqrt(1 + 3e-4 * n * n)
            out += (t >= strike) * 0.1 / n * torch.exp(-since * (1 + n)) * torch.sin(2 * math.pi * f * since)
    out += 1e-3 * torch.randn(t.shape, generator=generator, dtype=torch.float64)
    return (out * (t < 0.55)).float()


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument('--weights')
    arguments.add_argument('--into', required=True)
    o = arguments.parse_args()
    torch.manual_seed(1)
    if o.weights:
        tensors = load_file(o.weights)
        sizes = {'first': 'w1', 'opinion': 'w2', 'context': 'wc', 'joined': 'w3', 'memory': 'wz', 'last': 'w4', 'back': 'wzb', 'told': 'wt', 'among': 'wa'}
        sizes = {k: tensors[f'{v}.weight'].shape[0] for k, v in sizes.items()} | {'glance': tensors['wg.weight'].shape[1], 'pedal': tensors['wp.weight'].shape[0] // 2}
        network = NoteNetwork(**sizes)
        network.load_state_dict({k: v for k, v in tensors.items() if k != 'calibration'})
    else:
        network = NoteNetwork(**SIZES)
        for p in network.parameters():
            torch.nn.init.normal_(p, std=1.5 / math.sqrt(p.shape[-1]) if p.dim() > 1 else 0.2)
        for layer in (network.wg, network.wo):
            torch.nn.init.constant_(layer.bias, DOUBT)  # about half of the keys are looked at, and half of those are in question
        network.half().float()
        tensors = dict(network.state_dict()) | {'calibration': torch.tensor([[1.2, -DOUBT], [0.8, 0.1], [1.1, -DOUBT], [0.9, 0.2], [1.3, 0.1]])}
    samples = in_steps(sound())
    with torch.no_grad():
        inputs = FrontEnd()(samples[None] / STEPS)
        sounding, onset, _, _, later, later_onset, pedal = network(inputs)
    scale = tensors['calibration']
    some, keys = torch.tensor([20]), torch.arange(0, KEYS, 7)
    save_file({k: v.contiguous() if k == 'calibration' else v.half().contiguous() for k, v in tensors.items()}, os.path.join(o.into, 'golden_model.safetensors'))
    save_file({
        'samples': samples,
        'frames': some.float(),
        'keys': keys.float(),
        'inputs': inputs[0, some][:, keys].transpose(1, 2).contiguous(),
        **{name: in_steps(torch.sigmoid(scale[i, 0] * logits[0] + scale[i, 1])) for i, (name, logits) in enumerate((
            ('sounding', sounding), ('onset', onset), ('later_sounding', later), ('later_onset', later_onset), ('pedal', pedal)))},
    }, os.path.join(o.into, 'golden_frames.safetensors'))


if __name__ == '__main__':
    main()
