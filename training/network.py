"""The note network: one small network shared by all 88 keys, a look at musically related keys, and a memory over time.

Input: [clips, frames, 88, 196] from front_end.py. Output: logits [clips, frames, 88] of 'sounding' and 'struck just now',
and the first opinion before the neighbours were asked. Sizes are free; the Rust side reads them from the weights.
"""
import torch
from front_end import INPUTS, KEYS

INTERVALS = (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 7, -7, 9, -9, 12, -12, 16, -16, 19, -19, 24, -24, 28, -28, 36, -36)
FARTHEST = max(INTERVALS)


class NoteNetwork(torch.nn.Module):
    def __init__(self, first=112, opinion=24, context=56, joined=48, memory=48):
        super().__init__()
        self.w1 = torch.nn.Linear(INPUTS, first)
        self.w2 = torch.nn.Linear(first, opinion)
        self.wo = torch.nn.Linear(opinion, 1)
        self.wc = torch.nn.Linear(len(INTERVALS) * opinion, context)
        self.w3 = torch.nn.Linear(context + opinion, joined)
        self.gru = torch.nn.GRU(joined, memory)
        self.wh = torch.nn.Linear(memory + joined, 2)
        torch.nn.init.constant_(self.wh.bias, -3.0)  # few of 88 keys sound at a time

    def forward(self, x, state=None):
        clips, frames = x.shape[:2]
        h2 = torch.relu(self.w2(torch.relu(self.w1(x))))
        first = self.wo(h2)[..., 0]
        padded = torch.nn.functional.pad(h2, (0, 0, FARTHEST, FARTHEST))
        around = torch.cat([padded[:, :, FARTHEST + i: FARTHEST + i + KEYS] for i in INTERVALS], -1)
        h3 = torch.relu(self.w3(torch.cat([torch.relu(self.wc(around)), h2], -1)))
        series = h3.permute(1, 0, 2, 3).reshape(frames, clips * KEYS, -1)
        # in 16-bit floats this layer's gradients, means over millions of cells, vanish
        with torch.autocast(x.device.type, enabled=False):
            g, state = self.gru(series.float(), state)
        g = g.reshape(frames, clips, KEYS, -1).permute(1, 0, 2, 3)
        out = self.wh(torch.cat([g.to(h3.dtype), h3], -1))
        return out[..., 0].float() + first.float(), out[..., 1].float(), first.float(), state
