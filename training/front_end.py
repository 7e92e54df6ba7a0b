"""The analysis front end and the taps of each key, as src/spectrum and src/notes/network/features.rs compute them.

Input: mono samples at 22,050 Hz. Output: per frame two log-frequency spectra, and 220 numbers for each of 88 keys.
Held equal to the Rust code by tests/golden_frames.rs, whose data golden.py writes.
"""
import math
import numpy as np
import torch

RATE, HOP, LONG, SHORT, BINS = 22050, 512, 8192, 2048, 312
LOWEST, KEYS = 21, 88
HALF_KEYBOARD = (KEYS - 1) / 2  # half steps from the middle to either end
RATIOS = (1 / 2, 2 / 3, 1, 3 / 2, 2, 5 / 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 20)
BESIDE = (-9, -6, -3, 3, 6, 9)  # bins: one, two and three semitones away from the fundamental
REFERENCE_FLOOR = 1e-5
PEAK_DECAY = 2.0 ** (-HOP / RATE / 2.0)  # half-life of the remembered peak: 2 s
RISING = (1, 2, 3, 4, 5, 6, 7, 8)  # partials whose rise in the short window is looked at
BEFORE = SHORT // HOP  # frames back to the last short window that shares no sample with this one
INPUTS = 2 * (5 * len(RATIOS) + len(BESIDE)) + 3 * len(RISING) + 4


def log_matrix(window, tuning=1.0):
    """Weights [bins, window/2+1] that sum the power spectrum into bins, 36 an octave from a semitone below A0."""
    df, top = RATE / window, window // 2
    m = np.zeros((BINS, top + 1))
    for b in range(BINS):
        f = 27.5 * 2.0 ** ((b - 3) / 36) * tuning
        lo, hi = f * 2.0 ** (-1 / 72) / df, f * 2.0 ** (1 / 72) / df
        if hi - lo >= 1:
            for k in range(max(0, math.floor(lo)), min(top, math.ceil(hi) + 1) + 1):
                m[b, k] = max(0.0, min(k + 0.5, hi) - max(k - 0.5, lo))
        else:
            c = f / df
            j, t = math.floor(c), c - math.floor(c)
            m[b, j], m[b, j + 1] = 1 - t, t
    return torch.tensor(m, dtype=torch.float32)


def typical_inharmonicity(midi):
    """B of f_n = n f0 sqrt(1 + B n^2): two asymptotes over the keyboard (Rigaud, David, Daudet 2013)."""
    return math.exp(-0.0847 * midi - 5.82) + math.exp(0.0926 * midi - 13.64)


def tap_bins():
    """Bins each key looks at: [88, 96] in both windows, and [88, 24] whose rise counts; BINS stands for 'outside'."""
    looked, rising = [], []
    for key in range(KEYS):
        base, b = 3 + 3 * key, typical_inharmonicity(LOWEST + key)

        def around(r, reach):
            stretched = r * math.sqrt((1 + b * r * r) / (1 + b)) if r > 1 else r
            centre = math.floor(base + 36 * math.log2(stretched) + 0.5)
            return [x if 0 <= x < BINS else BINS for x in range(centre - reach, centre + reach + 1)]
        beside = [base + s if 0 <= base + s < BINS else BINS for s in BESIDE]
        looked.append(sum((around(r, 2) for r in RATIOS), []) + beside)
        rising.append(sum((around(r, 1) for r in RISING), []))
    return torch.tensor(looked), torch.tensor(rising)


class FrontEnd(torch.nn.Module):
    """Samples [clips, n] -> inputs [clips, frames, 88, 220]."""

    def __init__(self):
        super().__init__()
        for name, n in (('long', LONG), ('short', SHORT)):
            w = torch.hann_window(n, periodic=True, dtype=torch.float64)
            self.register_buffer(f'window_{name}', w.float(), False)
            self.register_buffer(f'matrix_{name}', (log_matrix(n) * (2.0 / w.sum().item()) ** 2).T.contiguous(), False)
        looked, rising = tap_bins()
        self.register_buffer('looked', looked, False)
        self.register_buffer('rising', rising, False)
        place = (torch.arange(KEYS) - HALF_KEYBOARD) / HALF_KEYBOARD
        self.register_buffer('place', torch.stack([place, place ** 2], 1), False)

    def magnitudes(self, samples):
        padded = torch.nn.functional.pad(samples, (LONG - HOP, 0))
        frames = padded.unfold(1, LONG, HOP)
        out = []
        for name, n in (('long', LONG), ('short', SHORT)):
            part = frames[..., LONG - n:] * getattr(self, f'window_{name}')
            power = torch.view_as_real(torch.fft.rfft(part)).square().sum(-1)
            out.append((power @ getattr(self, f'matrix_{name}')).sqrt())
        return out

    def spectra(self, samples):
        """Three log-frequency spectra a frame on a scale of 0 to 1, [clips, frames, BINS + 1] each (long window, short window, rise of the
        short one; the last bin is silence), and what all keys are told of the frame's level, [clips, frames, 2]."""
        with torch.autocast(samples.device.type, enabled=False):
            long, short = self.magnitudes(samples.float())
            ref = long.amax(-1).clamp_min(REFERENCE_FLOOR)
            level = ref.log2()
            # peak_t = max(ref_t, peak_{t-1} * decay): a running maximum once the decay is taken out
            slope = torch.arange(level.shape[1], device=level.device) * -math.log2(PEAK_DECAY)
            peak = torch.cummax(level + slope, 1).values - slope
            s0 = ((level - peak) * math.log10(2)).clamp(-3, 0) / 3
            s1 = ((short.amax(-1) + 1e-6) / ref).log10().clamp(-1.5, 1.5)
            squeeze = lambda x: torch.nn.functional.pad(torch.log1p(300 * x / ref[..., None]) / math.log(301), (0, 1))
            # the short window now and a short window ago, both on the scale of now
            earlier = torch.nn.functional.pad(short, (0, 0, BEFORE, 0))[:, :short.shape[1]]
            now = squeeze(short)
            return squeeze(long), now, now - squeeze(earlier), torch.stack([s0, s1], -1)

    def inputs(self, long, short, rise, level):
        """What each key sees of frames of any shape: [..., 88, INPUTS]."""
        shape = level.shape[:-1] + (KEYS, 2)
        return torch.cat([long[..., self.looked], short[..., self.looked], rise[..., self.rising],
                          self.place.expand(shape), level[..., None, :].expand(shape)], -1)

    def forward(self, samples):
        return self.inputs(*self.spectra(samples))


def disturbed(x, strength):
    """`FrontEnd.inputs` [scenes, ..., 88, INPUTS] of pianos that are a little other: for all of a scene each tap of a key is raised or lowered by
    about `strength` (0.03 is 1.5 dB; less where little is heard), and its keys stand up to two half steps away from where they are."""
    scenes = (len(x),) + (1,) * (x.dim() - 3)
    taps, place, level = x.split([INPUTS - 4, 2, 2], -1)
    taps = taps + strength * torch.randn(*scenes, KEYS, INPUTS - 4, device=x.device) * (taps.abs() / 0.3).clamp(max=1)
    moved = place[..., :1] + (4 * torch.rand(*scenes, 1, 1, device=x.device) - 2) / HALF_KEYBOARD
    return torch.cat([taps, moved, moved ** 2, level], -1)
