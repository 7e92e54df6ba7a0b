"""Scenes become sound and labels on the device: read recordings, mix, room, colour, noise, voices, saturation, coding.

Input: strikes from scenes.py. Output: samples [clips, n] at 22,050 Hz and labels [clips, frames, 88].
"""
import math
import torch
try:
    import triton
    import triton.language as tl
except ImportError:  # a machine without a GPU mixes with plain tensor operations
    triton = None
from front_end import HOP, KEYS, LOWEST, RATE
from scenes import FIELDS, SECONDS

LENGTH = int(SECONDS * RATE) // HOP * HOP
FRAMES = LENGTH // HOP
LOOK_BACK = 0.030  # a frame is judged by what sounds this long before its end
NEW = 0.047  # seconds for which a note counts as struck just now
NEAR_THE_END = 0.03  # seconds about the end of a note whose labels count less
EVENTS_AT_ONCE = 256


def fast_size(least):
    """The smallest size of at least `least` samples that FFTs like."""
    return min(odd << k for odd in (1, 3, 5, 9, 15) for k in range(24) if odd << k >= least)


CONVOLUTION = fast_size(LENGTH + RATE)
NOISE = fast_size(LENGTH)
ANSWERS = 8
WITHOUT_STRINGS = 0.45  # share of clips in which no string answers and no pedal knocks, as where single notes were put together
RESONANCE = 2 * RATE  # samples for which undamped strings answer


if triton:
    @triton.jit
    def strike_kernel(bank, sound, power, clip, source, length, increment, begin, gain, off, release, n_samples, frames, HOP: tl.constexpr):
        """One strike, one hop: reads the recording, adds it to its clip, keeps the hop's mean power."""
        e = tl.program_id(0).to(tl.int64)
        b = tl.program_id(1)
        n = b * HOP + tl.arange(0, HOP)
        pos = (n.to(tl.float64) - tl.load(begin + e)) * tl.load(increment + e)
        inside = (pos >= 1) & (pos < tl.load(length + e) - 3)
        whole = tl.floor(pos)
        t = (pos - whole).to(tl.float32)
        at = bank + tl.load(source + e) + whole.to(tl.int64)
        a = tl.load(at - 1, mask=inside, other=0.0).to(tl.float32)
        y0 = tl.load(at, mask=inside, other=0.0).to(tl.float32)
        c = tl.load(at + 1, mask=inside, other=0.0).to(tl.float32)
        d = tl.load(at + 2, mask=inside, other=0.0).to(tl.float32)
        # cubic through four samples (Catmull and Rom 1974)
        y = y0 + 0.5 * t * (c - a + t * (2 * a - 5 * y0 + 4 * c - d + t * (3 * (y0 - c) + d - a)))
        late = tl.maximum(n.to(tl.float32) - tl.load(off + e), 0.0) / tl.load(release + e)
        y = tl.where(inside, y * tl.load(gain + e) * tl.exp(-late), 0.0)
        tl.atomic_add(sound + tl.load(clip + e) * n_samples + n, y, mask=inside)
        tl.store(power + e * frames + b, tl.sum(y * y) / HOP)


class Renderer:
    def __init__(self, bank, backdrop, device, seed, telephone=0.0):
        self.telephone = telephone  # share of clips over the band of a telephone
        self.bank, self.backdrop, self.device = bank, backdrop, device
        self.g = torch.Generator(device).manual_seed(seed)
        self.answers = None
        self.n = torch.arange(LENGTH, device=device, dtype=torch.float32)
        self.frame_end = (torch.arange(FRAMES, device=device) + 1) * HOP / RATE

    def uniform(self, low, high, *shape):
        return low + (high - low) * torch.rand(*shape, device=self.device, generator=self.g)

    def normal(self, *shape):
        return torch.randn(*shape, device=self.device, generator=self.g)

    def mix(self, strikes, clips):
        """Dry sound, labels 'sounding', 'struck just now', and the weight of each label."""
        strikes = torch.as_tensor(strikes)
        col = {f: strikes[:, i] for i, f in enumerate(FIELDS)}
        dev = lambda f, t=torch.float32: col[f].to(self.device, t).contiguous()
        sound = torch.zeros(clips, LENGTH, device=self.device)
        cells = clips * KEYS
        sounding, struck, near = (torch.zeros(cells, FRAMES, device=self.device) for _ in range(3))
        faint = torch.zeros(cells, FRAMES, device=self.device)
        clip, source, length = dev('clip', torch.long), dev('source', torch.long), dev('length')
        inc, begin, gain, off, release, onset, label, until = (dev(f) for f in ('increment', 'begin', 'gain', 'off', 'release', 'onset', 'label', 'until'))
        cell = clip * KEYS + dev('midi', torch.long) - LOWEST
        power = torch.zeros(len(strikes), FRAMES, device=self.device)
        if triton and sound.is_cuda:
            if len(strikes):
                strike_kernel[(len(strikes), FRAMES)](self.bank.samples, sound, power, clip, source, dev('length', torch.float64), dev('increment', torch.float64),
                                                      dev('begin', torch.float64), gain, off, release, LENGTH, FRAMES, HOP=HOP)
        else:
            for s in range(0, len(strikes), EVENTS_AT_ONCE):
                e = slice(s, s + EVENTS_AT_ONCE)
                pos = (self.n - begin[e, None]) * inc[e, None]
                inside = (pos >= 1) & (pos < length[e, None] - 3)
                pos = pos.clamp(min=1).minimum(length[e, None] - 3)
                whole = pos.floor()
                t = pos - whole
                at = whole.long() + source[e, None]
                a, b, c, d = (self.bank.samples[at + k].float() for k in (-1, 0, 1, 2))
                y = b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a)))
                y = y * inside * gain[e, None] * torch.exp(-(self.n - off[e, None]).clamp(min=0) / release[e, None])
                sound.index_add_(0, clip[e], y)
                power[e] = y.reshape(len(y), FRAMES, HOP).square().mean(-1)
        quiet = (power < power.amax(-1, keepdim=True) * 10 ** -4.5).float()
        judged = self.frame_end - LOOK_BACK
        age, left = judged - onset[:, None], judged - until[:, None]
        there = (age >= 0) & (left < 0) & (judged < (length / inc * 0.92 / RATE + onset)[:, None])
        there = there * label[:, None]
        sounding.index_reduce_(0, cell, there, 'amax')
        faint.index_reduce_(0, cell, there * quiet, 'amax')
        struck.index_reduce_(0, cell, ((age >= 0) & (age < NEW)) * label[:, None], 'amax')
        near.index_reduce_(0, cell, ((age.abs() < 0.035) | (left.abs() < NEAR_THE_END)) * label[:, None], 'amax')
        weight = 1 - (0.6 * near).maximum(0.85 * faint)
        shape = lambda x: x.reshape(clips, KEYS, FRAMES).transpose(1, 2)
        return sound, shape(sounding), shape(struck), shape(weight)

    def open_strings(self):
        """What the undamped strings of a piano answer to a click, `ANSWERS` different ones: the partials of all keys, dying away over seconds."""
        t = torch.arange(RESONANCE, device=self.device) / RATE
        out = torch.zeros(ANSWERS, RESONANCE, device=self.device)
        for i in range(ANSWERS):
            tuning = self.uniform(-10, 10, 1)
            for partial in range(1, 6):
                keys = torch.arange(LOWEST, LOWEST + KEYS, device=self.device)
                f = 440 * 2 ** ((keys - 69 + (tuning + 3 * self.normal(KEYS)) / 100) / 12) * partial * (1 + 2e-4 * partial ** 2)
                audible = (f < 5000).float()
                level = audible * torch.exp(0.5 * self.normal(KEYS)) / partial
                tau = (2.5 * 2 ** (-(keys - 40) / 24) / partial ** 0.5).clamp(0.05, 3.0)
                phase = self.uniform(0, 6.28, KEYS)
                for k in range(0, KEYS, 22):
                    e = slice(k, k + 22)
                    out[i] += (level[e, None] * torch.exp(-t / tau[e, None]) * torch.sin(6.2832 * f[e, None] * t + phase[e, None])).sum(0)
        return out / out.square().sum(-1, keepdim=True).sqrt()

    def pedal_labels(self, pedals, clips):
        """[clips, frames, 2]: 1 where the pedal is down in the moment that the frame judges, and 1 where this is known."""
        spans = torch.as_tensor(pedals, device=self.device, dtype=torch.float32).reshape(-1, 3)
        judged = self.frame_end - LOOK_BACK
        clip = spans[:, 0].long()
        down = ((judged >= spans[:, 1:2]) & (judged < spans[:, 2:3])).float()
        edge = torch.minimum((judged - spans[:, 1:2]).abs(), (judged - spans[:, 2:3]).abs()) < NEAR_THE_END
        out = torch.zeros(2, clips, FRAMES, device=self.device)
        out[0].index_reduce_(0, clip, down, 'amax')
        out[1].index_fill_(0, clip, 1.0)
        near = torch.zeros(clips, FRAMES, device=self.device).index_reduce_(0, clip, edge.float(), 'amax')
        out[1] *= 1 - 0.6 * near
        return out.permute(1, 2, 0)

    def pedalled(self, x, pedals):
        """The sound with what the open strings answer while the pedal is down, and with the noise of the pedal itself."""
        if len(pedals) == 0:
            return x
        if self.answers is None:
            self.answers = self.open_strings()
        clips = len(x)
        spans = torch.as_tensor(pedals, device=self.device)
        clip = spans[:, 0].long()
        edges = (spans[:, 1:] * RATE).long().clamp(0, LENGTH - 1)
        moved = torch.zeros(clips, LENGTH, device=self.device)
        moved.index_put_((clip, edges[:, 0]), torch.ones(len(clip), device=self.device), accumulate=True)
        moved.index_put_((clip, edges[:, 1]), -torch.ones(len(clip), device=self.device), accumulate=True)
        down = moved.cumsum(1).clamp(0, 1)
        moved[:, 0] = 0
        # dampers leave and meet the strings within some hundredths of a second
        down = torch.nn.functional.avg_pool1d(torch.nn.functional.pad(down[:, None], (882, 0), mode='replicate'), 883, 1)[:, 0]
        pick = torch.randint(ANSWERS, (clips,), device=self.device, generator=self.g)
        size = fast_size(LENGTH + RESONANCE)
        answer = torch.fft.irfft(torch.fft.rfft(x * down, size) * torch.fft.rfft(self.answers, size)[pick], size)[:, :LENGTH] * down
        loud = lambda s: s.square().mean(-1, keepdim=True).sqrt().clamp(min=1e-6)
        played = loud(x)
        real = self.uniform(0, 1, clips, 1) >= WITHOUT_STRINGS
        x = x + real * answer / loud(answer) * played * 10 ** (-self.uniform(12, 36, clips, 1) / 20)
        # the tray and the dampers knock and swish
        t = torch.arange(RATE // 4, device=self.device) / RATE
        knock = self.normal(clips, RATE // 4) * torch.exp(-t / self.uniform(0.01, 0.06, clips, 1))
        f = torch.linspace(0, RATE / 2, size // 2 + 1, device=self.device)
        spectrum = torch.fft.rfft(knock, size) / (1 + (f / self.uniform(80, 900, clips, 1)) ** 2)
        noise = torch.fft.irfft(torch.fft.rfft(moved.abs() * self.uniform(0.2, 1, clips, LENGTH), size) * spectrum, size)[:, :LENGTH]
        heard = real & (self.uniform(0, 1, clips, 1) < 0.6) & (moved.abs().amax(-1, keepdim=True) > 0)
        return x + heard * noise / noise.abs().amax(-1, keepdim=True).clamp(min=1e-6) * played * 10 ** (-self.uniform(0, 30, clips, 1) / 20)

    def colour(self, x, chance):
        """Room, equaliser, high and low pass: one multiplication in the frequency domain."""
        clips = len(x)
        size = CONVOLUTION
        spectrum = torch.fft.rfft(x, size)
        f = torch.linspace(0, RATE / 2, spectrum.shape[-1], device=self.device)
        log_f = torch.log2(f.clamp(min=20) / 20)  # 0 to 9.1 octaves
        # a room, recorded or drawn, mixed in at a random share
        rooms = self.backdrop.rooms
        pick = torch.randint(len(rooms), (clips,), device=self.device, generator=self.g)
        decay = self.uniform(0.15, 1.1, clips, 1)
        drawn = self.normal(clips, RATE) * torch.exp(-6.9 * torch.arange(RATE, device=self.device) / RATE / decay)
        drawn[:, :64] = 0
        drawn = drawn / drawn.square().sum(-1, keepdim=True).sqrt() * self.uniform(0.1, 1.2, clips, 1)
        drawn[:, 0] = 1
        room = torch.where(self.uniform(0, 1, clips, 1) < 0.6, rooms[pick], drawn)
        has_room = self.uniform(0, 1, clips, 1) < 0.65 * chance
        spectrum = spectrum * torch.where(has_room, torch.fft.rfft(room, size), torch.ones(1, device=self.device))
        # a smooth curve in dB over the octaves
        curve = torch.zeros(clips, len(f), device=self.device)
        for k in (0.5, 1, 2, 3.5, 6):
            curve += self.normal(clips, 1) * 3.5 / (1 + k) * torch.cos(math.pi * k * log_f / 9.1 + self.uniform(0, 6.28, clips, 1))
        curve += self.normal(clips, 1) * 1.5 * (log_f - 4)
        for _ in range(6):  # resonances
            centre, width = self.uniform(1, 8.5, clips, 1), self.uniform(0.04, 0.45, clips, 1)
            curve += self.normal(clips, 1) * 3 * torch.exp(-0.5 * ((log_f - centre) / width) ** 2)
        curve = curve * (self.uniform(0, 1, clips, 1) < 0.75 * chance)
        low = torch.exp(self.uniform(math.log(25), math.log(480), clips, 1))
        high = torch.exp(self.uniform(math.log(2200), math.log(9500), clips, 1))
        low = torch.where(self.uniform(0, 1, clips, 1) < 0.45 * chance, low, torch.full_like(low, 8.0))
        high = torch.where(self.uniform(0, 1, clips, 1) < 0.35 * chance, high, torch.full_like(high, 40000.0))
        # the band of telephony (300 to 3400 Hz, ITU-T G.712) and what small microphones make of it
        phone = self.uniform(0, 1, clips, 1) < self.telephone * chance
        low = torch.where(phone, torch.exp(self.uniform(math.log(180), math.log(480), clips, 1)), low)
        high = torch.where(phone, torch.exp(self.uniform(math.log(2600), math.log(4500), clips, 1)), high)
        order = torch.randint(1, 7, (clips, 1), device=self.device, generator=self.g)
        gain = 10 ** (curve / 20) / (1 + (low / f.clamp(min=1)) ** (2 * order)).sqrt() / (1 + (f / high) ** (2 * order)).sqrt()
        return torch.fft.irfft(spectrum * gain, size)[:, :LENGTH]

    def cut(self, x, clips):
        """A random stretch of a long sound for each clip, read a little faster or slower."""
        speed = self.uniform(0.8, 1.25, clips, 1)
        start = self.uniform(0, 1, clips, 1) * (len(x) - LENGTH * 1.26)
        pos = start + self.n * speed
        i = pos.long()
        return x[i] + (pos - i) * (x[i + 1] - x[i])

    def made_up_voice(self, many):
        """Gliding harmonics under moving formants, in syllables: a voice that says nothing. A few are made and given out to `many` clips."""
        knots, clips = 14, math.ceil(many / 8)
        bend = lambda low, high: torch.nn.functional.interpolate(self.uniform(low, high, clips, 1, knots), LENGTH, mode='linear', align_corners=True)[:, 0]
        pitch = torch.exp(self.uniform(math.log(85), math.log(260), clips, 1) + bend(-0.25, 0.25))
        phase = torch.cumsum(pitch.double() / RATE, -1).float() * 2 * math.pi
        k = torch.arange(1, 25, device=self.device)[:, None]
        partials = k * pitch[:, None]
        level = sum(1 / (1 + ((partials - f[:, None]) / w) ** 2) for f, w in ((bend(250, 900), 90), (bend(900, 2300), 140), (bend(2300, 3300), 200)))
        out = (level * torch.sin(k * phase[:, None]) * (partials < 5000)).sum(1)
        syllables = torch.nn.functional.interpolate((self.uniform(-0.6, 1, clips, 1, 22)).clamp(min=0), LENGTH, mode='linear', align_corners=True)[:, 0]
        out = out * syllables + 0.05 * self.normal(clips, LENGTH) * (1 - syllables).clamp(min=0)
        out = out / out.square().mean(-1, keepdim=True).sqrt().clamp(min=1e-6)
        return out[torch.randint(clips, (many,), device=self.device, generator=self.g)]

    def noises(self, x, chance, silent):
        """Hiss, coloured noise, hum, kitchen and voices, at random distances below the piano."""
        clips = len(x)
        # the piano's loudest quarter second is the measure; a clip without piano has noise alone
        level = x.square().unfold(1, 4096, 2048).mean(-1).amax(-1, keepdim=True).sqrt()
        level = torch.where(silent[:, None], torch.ones_like(level), level.clamp(min=1e-4))
        spectrum = torch.fft.rfft(self.normal(clips, NOISE))
        f = torch.linspace(0, RATE / 2, spectrum.shape[-1], device=self.device).clamp(min=20)
        tilt = self.uniform(0, 1.2, clips, 1)
        hiss = torch.fft.irfft(spectrum * (f / 1000) ** -tilt, NOISE)[:, :LENGTH]
        mains = torch.where(self.uniform(0, 1, clips, 1) < 0.5, 50.0, 60.0) * (1 + 0.002 * self.normal(clips, 1))
        hum = sum(self.uniform(0, 1, clips, 1) ** 2 / k ** 0.5 * torch.sin(2 * math.pi * k * mains * self.n / RATE + self.uniform(0, 6.28, clips, 1)) for k in range(1, 9))
        voices = torch.where(self.uniform(0, 1, clips, 1) < 0.6, self.cut(self.backdrop.voice, clips), self.made_up_voice(clips))
        kinds = ((hiss, 0.75, 18, 75), (hum, 0.12, 18, 60), (self.cut(self.backdrop.noise, clips), 0.25, 8, 45), (voices, 0.25, 2, 32))
        total = torch.zeros_like(x)
        for sound, p, near, far in kinds:
            p = torch.where(silent, torch.full_like(level[:, 0], max(0.35, p)), torch.full_like(level[:, 0], p * chance))
            used = (self.uniform(0, 1, clips) < p)[:, None]
            loud = sound.square().mean(-1, keepdim=True).sqrt().clamp(min=1e-6)
            total += used * sound / loud * level * 10 ** (-self.uniform(near, far, clips, 1) / 20)
        return x + total

    def coded(self, x, chance):
        """What lossy coding does, roughly: bins far below their band's loudest are lost, the rest is rounded."""
        window = torch.hann_window(1024, device=self.device)
        used = (self.uniform(0, 1, len(x)) < 0.2 * chance).nonzero()[:, 0]
        if len(used) == 0:
            return x
        s = torch.stft(x[used], 1024, 512, window=window, return_complex=True)
        size = s.abs()
        floor = torch.nn.functional.max_pool1d(size.transpose(1, 2).flatten(0, 1)[:, None], 25, 1, 12)[:, 0].reshape(len(used), -1, 513).transpose(1, 2)
        step = (floor * 10 ** (-self.uniform(18, 42, len(used), 1, 1) / 20)).clamp(min=1e-9)
        s = s * ((size / step).round() * step / size.clamp(min=1e-9))
        x = x.clone()
        x[used] = torch.istft(s, 1024, 512, window=window, length=LENGTH)
        return x

    def __call__(self, strikes, clips, chance=1.0, pedals=()):
        """Samples, 'sounding', 'struck', label weights, the pedal and whether it is known. `chance` scales how often anything is done to the dry sound."""
        x, sounding, struck, weight = self.mix(strikes, clips)
        x = self.pedalled(x, pedals)
        silent = sounding.amax((1, 2)) == 0
        if chance > 0:
            x = self.colour(x, chance)
            x = self.noises(x, chance, silent)
            peak = x.abs().amax(-1, keepdim=True).clamp(min=1e-6)
            drive = torch.where(self.uniform(0, 1, clips, 1) < 0.15 * chance, self.uniform(1, 5, clips, 1), torch.full((clips, 1), 0.05, device=self.device))
            x = torch.tanh(x / peak * drive) / drive
            x = self.coded(x, chance)
            x = x / x.abs().amax(-1, keepdim=True).clamp(min=1e-6) * 10 ** (-self.uniform(0.5, 46, clips, 1) / 20)
            bits = 2.0 ** -15
            x = x + (self.uniform(0, 1, clips, 1) < 0.8) * bits * (self.uniform(0, 1, clips, LENGTH) - 0.5)
        return x, sounding, struck, weight, self.pedal_labels(pedals, clips)
