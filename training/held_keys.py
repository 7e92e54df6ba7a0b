"""How far the mean of a key's log-odds over a held chord tells that the key is there, on pianos that the weights have not met.

  python3 training/held_keys.py --pianos ../shared/pianos --rooms ../shared/rooms --voices ../shared/voices --weights DIR
      [--count 160] [--seed 777]

DIR holds without-PIANO.safetensors of `train.py --leave-out PIANO --name without-PIANO`. Prints for each of these pianos, and for all of them
together, the scale and the shift that make the mean a log-odd (Platt 1999): `scale * (mean + shift)`. src/notes/held.rs has both.
"""
import argparse, glob, os
import torch
from safetensors.torch import load_file
import render
from front_end import FrontEnd, HOP, KEYS, LOWEST, RATE
from network import NoteNetwork
from scenes import held
from sounds import Backdrop, Bank
from train import calibrate

AT_ONCE = 20
FROM, TO = int(0.53 * RATE / HOP), int(1.9 * RATE / HOP)  # frames of a scene in which its chord is held
MOST = 6.0  # one frame says at most this, as in src/notes/held.rs


def means(piano, weights, options, chance):
    """Mean log-odds [scenes, 88] of held chords, and whether each key is there."""
    bank = Bank('cpu')
    bank.add_folder(os.path.join(options.pianos, piano))
    table = bank.finish()
    renderer = render.Renderer(bank, Backdrop(options.rooms, options.voices, 'cpu', render.LENGTH), 'cpu', 5, 0.1)
    tensors = load_file(weights)
    scale, shift = tensors.pop('calibration')[0].tolist()
    sizes = {'first': 'w1', 'opinion': 'w2', 'context': 'wc', 'joined': 'w3', 'memory': 'wz', 'last': 'w4'}
    network = NoteNetwork(glance=tensors['wg.weight'].shape[1], **{k: tensors[f'{v}.weight'].shape[0] for k, v in sizes.items()})
    network.load_state_dict(tensors)
    front, said, there = FrontEnd(), [], []
    for part in range(0, options.count, AT_ONCE):
        rows, sets = held(table, 0, AT_ONCE, options.seed + part // AT_ONCE + 100 * int(chance))
        sound, *_ = renderer(rows, AT_ONCE, chance)
        for sounds, keys in zip(sound.split(5), (sets[i:i + 5] for i in range(0, AT_ONCE, 5))):
            with torch.no_grad():
                logits = network(front(sounds))[0]
            said.append((scale * logits + shift).clamp(-MOST, MOST)[:, FROM:TO].mean(1))
            there += [[k + LOWEST in chord for k in range(KEYS)] for chord in keys]
    return torch.cat(said), torch.tensor(there).float()


def tell(name, said, there):
    # calibrate() leaves out what its weights say; keys about which every frame is sure say nothing of scale and shift
    scale, shift = calibrate(said, there, (said.abs() < 0.98 * MOST).float())
    right = ((said > -shift / scale) == (there > 0.5)).all(1).float().mean()
    plain = ((said > 0) == (there > 0.5)).all(1).float().mean()
    print(f'{name}: scale {scale:.2f}, shift {shift / scale:+.2f}; exactly the keys {right:.3f} with the shift, {plain:.3f} without', flush=True)


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ('--pianos', '--rooms', '--voices', '--weights'):
        a.add_argument(name, required=True)
    a.add_argument('--count', type=int, default=160)
    a.add_argument('--seed', type=int, default=777)
    o = a.parse_args()
    everything = []
    for weights in sorted(glob.glob(os.path.join(o.weights, 'without-*.safetensors'))):
        piano = os.path.basename(weights)[len('without-'):-len('.safetensors')]
        parts = [means(piano, weights, o, chance) for chance in (0.0, 1.0)]
        everything += parts
        tell(piano, *(torch.cat(p) for p in zip(*parts)))
    tell('all', *(torch.cat(p) for p in zip(*everything)))


if __name__ == '__main__':
    main()
