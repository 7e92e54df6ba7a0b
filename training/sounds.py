"""What training is made of: recorded notes, made-up pianos, rooms, noise and voices.

A folder of recorded notes holds map.tsv (file, midi, velocity, rate, seconds; tab-separated, with a header) and the files.
"""
import csv, math, os
import numpy as np
import torch
import soundfile
from front_end import RATE

SOURCE_RATE = 44100
LEAD = 0.010  # seconds before the attack in a recorded note
STEP = SOURCE_RATE / RATE


def read_mono(path, rate):
    """A sound file as mono float32 at `rate`, resampled in the frequency domain."""
    x, r = soundfile.read(path, dtype='float32', always_2d=True)
    x = x.mean(1)
    if r != rate:
        n = int(round(len(x) * rate / r))
        spectrum = np.fft.rfft(x)
        keep = min(len(spectrum), n // 2 + 1)
        out = np.zeros(n // 2 + 1, complex)
        out[:keep] = spectrum[:keep]
        x = (np.fft.irfft(out, n) * n / len(x)).astype('float32')
    return x


def low_passed(x):
    """Rolled off from 9.4 to 10.8 kHz, so that reading at half the rate does not alias."""
    spectrum = torch.fft.rfft(x)
    f = torch.linspace(0, SOURCE_RATE / 2, spectrum.shape[-1], device=x.device)
    gain = 0.5 + 0.5 * torch.cos(math.pi * ((f - 9400) / 1400).clamp(0, 1))
    return torch.fft.irfft(spectrum * gain, x.shape[-1])


class Bank:
    """All recordings in one long tensor, with what scenes need to know of each."""

    def __init__(self, device):
        self.device, self.parts, self.rows, self.pianos = device, [], [], []
        self.at = 0

    def add_note(self, piano, midi, velocity, x):
        self.parts.append(x.half())
        self.rows.append((piano, midi, velocity, self.at, x.shape[-1]))
        self.at += x.shape[-1]

    def add_folder(self, folder):
        piano = len(self.pianos)
        self.pianos.append(os.path.basename(os.path.normpath(folder)))
        notes = []
        with open(os.path.join(folder, 'map.tsv')) as h:
            for row in csv.DictReader(h, delimiter='\t'):
                x = torch.from_numpy(read_mono(os.path.join(folder, row['file']), SOURCE_RATE)).to(self.device)
                notes.append((int(row['midi']), float(row['velocity']), low_passed(x)))
        # one gain a dynamic layer: the differences between keys stay, the layers become equally loud
        for layer in sorted({v for _, v, _ in notes}):
            rows = [n for n in notes if n[1] == layer]
            level = np.median([n[2][: SOURCE_RATE // 2].square().mean().sqrt().item() for n in rows])
            for midi, velocity, x in rows:
                own = x[: SOURCE_RATE // 2].square().mean().sqrt().item()
                # keys far off the layer's level (one microphone, one bad take) are brought within 8 dB
                gain = 0.1 / level * min(1.0, 2.5 * level / max(own, 1e-9)) * max(1.0, 0.4 * level / max(own, 1e-9))
                self.add_note(piano, midi, velocity, (x * gain).clamp(-8, 8))

    def add_made_up(self, count, seed, seconds=3.6, step=1):
        """Pianos from formulas: stiff strings in twos and threes, a hammer comb, a soundboard, two-stage decay, a thump."""
        g = np.random.default_rng(seed)
        n = int(seconds * SOURCE_RATE)
        t = torch.arange(n, device=self.device) / SOURCE_RATE
        noise = torch.Generator(self.device).manual_seed(seed)
        for i in range(count):
            piano = len(self.pianos)
            self.pianos.append(f'made-up-{seed}-{i}')
            # from a concert grand to a worn upright: stiff strings, hammers worn hard or felted soft, unisons that beat
            stiff, strike = math.exp(g.uniform(-0.6, 1.6)), g.uniform(0.08, 0.17)
            slope, bright = g.uniform(0.35, 1.8), math.exp(g.uniform(0.0, 2.0))
            peaks = [(math.exp(g.uniform(math.log(60), math.log(5000))), g.uniform(0.1, 0.7), g.normal(0, 5)) for _ in range(7)]
            decay, unison = math.exp(g.uniform(-0.5, 0.5)), math.exp(g.uniform(-1.6, 1.5))
            bass_loss = g.uniform(40, 150)
            for midi in range(21, 109, step):
                f0 = 440 * 2 ** ((midi - 69) / 12)
                b = stiff * (math.exp(-0.0847 * midi - 5.82) + math.exp(0.0926 * midi - 13.64))
                orders = np.arange(1, 61)
                f = orders * f0 * np.sqrt((1 + b * orders ** 2) / (1 + b))
                orders, f = orders[f < 10500], f[f < 10500]
                comb = np.abs(np.sin(math.pi * orders * strike)) + 0.05
                board = sum(a * np.exp(-0.5 * (np.log2(f / c) / w) ** 2) for c, w, a in peaks)
                amp = comb * orders ** -slope * np.exp(-f / (bright * 1000 + 12 * midi)) * 10 ** ((board + g.normal(0, 3, len(f))) / 20)
                amp *= 1 / np.sqrt(1 + (bass_loss / f) ** 4)
                tau = decay * 7.0 * 2 ** (-(midi - 30) / 17) / (1 + 0.15 * orders + (f / 4500) ** 2)
                strings = 1 if midi < 30 else 2 if midi < 42 else 3
                x = torch.zeros(n, device=self.device)
                cents = g.normal(0, 0.6 * unison, strings)
                share = g.dirichlet(np.full(strings, 3.0))
                freq = torch.tensor(f[:, None] * 2 ** (cents[None] / 1200), device=self.device, dtype=torch.float32).flatten()
                level = torch.tensor(amp[:, None] * share[None], device=self.device, dtype=torch.float32).flatten()
                fast = torch.tensor(np.repeat(tau, strings), device=self.device, dtype=torch.float32)
                phase = torch.tensor(g.uniform(0, 6.28, len(freq)), device=self.device, dtype=torch.float32)
                late = float(g.uniform(0.05, 0.35))
                for s in range(0, len(freq), 48):
                    e = slice(s, s + 48)
                    env = (1 - late) * torch.exp(-t / (0.35 * fast[e, None])) + late * torch.exp(-t / (1.6 * fast[e, None]))
                    x += (level[e, None] * env * torch.sin(2 * math.pi * freq[e, None] * t + phase[e, None])).sum(0)
                thump = torch.randn(n, device=self.device, generator=noise) * torch.exp(-t / float(g.uniform(0.008, 0.04)))
                spectrum = torch.fft.rfft(thump)
                fr = torch.linspace(0, SOURCE_RATE / 2, spectrum.shape[-1], device=self.device)
                thump = torch.fft.irfft(spectrum / (1 + (fr / float(g.uniform(150, 900))) ** 2), n)
                x = x / x[: SOURCE_RATE // 2].square().mean().sqrt() + thump / thump.abs().amax() * float(g.uniform(0, 1.2))
                x *= 0.1 * 10 ** (g.normal(0, 1.5) / 20) * (t / 0.002).clamp(max=1.0)
                x = torch.cat([torch.zeros(int(LEAD * SOURCE_RATE), device=self.device), x * (1 - ((t - seconds + 0.3) / 0.3).clamp(0, 1))])
                self.add_note(piano, midi, 64.0, x)

    def finish(self):
        """Joins the parts; returns the table (piano, midi, velocity, start, length) as numpy."""
        pad = torch.zeros(8, device=self.device, dtype=torch.half)
        self.samples = torch.cat([*self.parts, pad])
        self.parts = None
        self.table = np.array(self.rows, dtype=np.float64)
        return self.table


class Backdrop:
    """Rooms, noises and voices on the device."""

    def __init__(self, rooms, voices, device, length):
        wav = sorted(f for f in os.listdir(rooms) if f.endswith('.wav'))
        n = RATE  # a second of room
        self.rooms = torch.zeros(len(wav), n, device=device)
        for i, f in enumerate(wav):
            x = torch.from_numpy(read_mono(os.path.join(rooms, f), RATE))[:n]
            x = x / x.abs().amax()
            first = max(0, int((x.abs() > 0.3).nonzero()[0]) - 8)  # the direct sound arrives at once
            x = x[first:]
            self.rooms[i, : len(x)] = x.to(device)
        join = lambda folder: torch.cat([torch.from_numpy(read_mono(os.path.join(folder, f), RATE)) for f in sorted(os.listdir(folder)) if f.endswith('.flac')])
        unit = lambda x: (x / x.square().mean().sqrt()).to(device)
        self.noise, self.voice = unit(join(rooms)), unit(join(voices))
        assert len(self.noise) > 2 * length and len(self.voice) > 2 * length
