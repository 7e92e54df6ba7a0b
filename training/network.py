"""The note network: one small network shared by all 88 keys, a look at musically related keys, and a memory over time.

Input: [clips, frames, 88, INPUTS] from front_end.py. Output: logits [clips, frames, 88] of 'sounding' and 'struck just now',
the first opinion before the neighbours were asked, and the glance before that; then both once more with a look at what comes after (for
recordings), and the logit [clips, frames] that the pedal is down. Sizes are free; the Rust side reads them from the weights.

Method: a glance, the first few units of the first layer, leaves out the keys that are clearly silent (two thirds of them). For the others taps ->
dense -> dense -> first opinion; then, only where a key is still in question (its first opinion is above DOUBT), what the neighbours at musical
intervals found and a summary of all keys -> dense -> memory -> dense -> two logits. A key left out has found nothing that neighbours could see.
The memory is a recurrent unit whose gate sees the input alone, so that training can take all frames at once (Feng, Tung, Ahmed, Bengio,
Hajimirsadeghi 2024, "Were RNNs all we needed?"): h = (1 - z) h + z c, with z and c from the frame; a key out of question forgets.
The second look has another such memory that runs backward in time (as in Schuster and Paliwal 1997); the pedal is told from the mean and the largest of
what the second look found of the keys in question and from how many keys of each two thirds of an octave sound and were struck, with memories both ways.
Then the keys in question ask their neighbours once more, what they know by now of themselves (as messages are passed between the nodes of a graph; Gilmer,
Schoenholz, Riley, Vinyals, Dahl, "Neural message passing for quantum chemistry", 2017), and the pedal.
"""
import torch
try:
    import triton
    import triton.language as tl
except ImportError:  # a machine without a GPU goes frame by frame
    triton = None
from front_end import INPUTS, KEYS

INTERVALS = (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 7, -7, 9, -9, 12, -12, 16, -16, 19, -19, 24, -24, 28, -28, 36, -36)
FARTHEST = max(INTERVALS)
STRETCH = 8  # keys that are counted together for the pedal
STRETCHES = KEYS // STRETCH
DOUBT = -5.0  # logit of the first opinion below which a key is out of question


if triton:
    @triton.jit
    def remember_kernel(keep, new, state, frames, columns, BLOCK: tl.constexpr):
        """state_t = keep_t * state_{t-1} + new_t down the frames, for BLOCK columns of one clip."""
        col = tl.program_id(1) * BLOCK + tl.arange(0, BLOCK)
        inside = col < columns
        at = tl.program_id(0).to(tl.int64) * frames * columns + col
        h = tl.zeros([BLOCK], tl.float32)
        for _ in range(frames):
            h = tl.load(keep + at, mask=inside, other=0.0) * h + tl.load(new + at, mask=inside, other=0.0)
            tl.store(state + at, h, mask=inside)
            at += columns

    @triton.jit
    def remember_back_kernel(keep, state, grad, keep_grad, new_grad, frames, columns, BLOCK: tl.constexpr):
        col = tl.program_id(1) * BLOCK + tl.arange(0, BLOCK)
        inside = col < columns
        at = (tl.program_id(0).to(tl.int64) * frames + frames - 1) * columns + col
        g = tl.zeros([BLOCK], tl.float32)
        for i in range(frames):
            g += tl.load(grad + at, mask=inside, other=0.0)
            tl.store(new_grad + at, g, mask=inside)
            before = tl.load(state + at - columns, mask=inside & (i < frames - 1), other=0.0)
            tl.store(keep_grad + at, g * before, mask=inside)
            g = g * tl.load(keep + at, mask=inside, other=0.0)
            at -= columns


class Remember(torch.autograd.Function):
    @staticmethod
    def forward(ctx, keep, new):
        keep, new = keep.contiguous(), new.contiguous()
        state = torch.empty_like(new)
        clips, frames, columns = keep.shape
        remember_kernel[(clips, triton.cdiv(columns, 256))](keep, new, state, frames, columns, BLOCK=256)
        ctx.save_for_backward(keep, state)
        return state

    @staticmethod
    def backward(ctx, grad):
        keep, state = ctx.saved_tensors
        clips, frames, columns = keep.shape
        keep_grad, new_grad = torch.empty_like(keep), torch.empty_like(keep)
        remember_back_kernel[(clips, triton.cdiv(columns, 256))](keep, state, grad.contiguous(), keep_grad, new_grad, frames, columns, BLOCK=256)
        return keep_grad, new_grad


def remember(keep, new):
    """h_t = keep_t h_{t-1} + new_t over dimension 1, from h = 0."""
    if triton and keep.is_cuda:
        return Remember.apply(keep.flatten(2), new.flatten(2)).view_as(keep)
    h, states = torch.zeros_like(new[:, 0]), []
    for t in range(new.shape[1]):
        h = keep[:, t] * h + new[:, t]
        states.append(h)
    return torch.stack(states, 1)


def remember_back(keep, new):
    """h_t = keep_t h_{t+1} + new_t over dimension 1, from h = 0 after the end."""
    return remember(keep.flip(1), new.flip(1)).flip(1)


class NoteNetwork(torch.nn.Module):
    def __init__(self, glance=16, first=144, opinion=24, context=120, joined=64, memory=64, last=48, back=48, pedal=24, told=16, among=64):
        super().__init__()
        self.glance = glance
        self.w1 = torch.nn.Linear(INPUTS, first)
        self.wg = torch.nn.Linear(glance, 1)
        self.w2 = torch.nn.Linear(first, opinion)
        self.wo = torch.nn.Linear(opinion, 1)
        self.wc = torch.nn.Linear((len(INTERVALS) + 1) * opinion, context)
        self.w3 = torch.nn.Linear(context + opinion, joined)
        self.wz = torch.nn.Linear(joined, memory)
        self.wn = torch.nn.Linear(joined, memory)
        self.w4 = torch.nn.Linear(memory + joined, last)
        self.wh = torch.nn.Linear(last, 2)
        self.wzb = torch.nn.Linear(joined, back)
        self.wnb = torch.nn.Linear(joined, back)
        self.w5 = torch.nn.Linear(memory + back + joined, last)
        self.wh2 = torch.nn.Linear(last, 2)
        self.wp = torch.nn.Linear(2 * last + 2 * STRETCHES, 2 * pedal)
        self.wzp = torch.nn.Linear(2 * pedal, 2 * pedal)  # of the memory forward, then of the one backward
        self.wnp = torch.nn.Linear(2 * pedal, 2 * pedal)
        self.wq = torch.nn.Linear(4 * pedal, 1)
        self.wt = torch.nn.Linear(last, told)
        self.wa = torch.nn.Linear(len(INTERVALS) * told, among)
        self.w6 = torch.nn.Linear(among + last + 2 * pedal, last)
        self.wh3 = torch.nn.Linear(last, 2)
        torch.nn.init.zeros_(self.wh3.weight)
        torch.nn.init.zeros_(self.wh3.bias)
        torch.nn.init.constant_(self.wo.bias, -2.0)  # few of 88 keys sound at a time
        torch.nn.init.constant_(self.wg.bias, -2.0)
        for gate in (self.wz, self.wzb, self.wzp):
            torch.nn.init.uniform_(gate.bias, -3.0, 1.0)  # memories from a frame to half a second

    def frames_alone(self, x):
        """Glance, first opinion, whether the key is in question, and what is known of it after a look at the neighbours. Any number of leading dimensions."""
        h1 = torch.relu(self.w1(x))
        glance = self.wg(h1[..., :self.glance])[..., 0]
        seen = (glance > DOUBT).to(h1.dtype).detach()
        h2 = torch.relu(self.w2(h1)) * seen[..., None]
        first = torch.where(seen > 0, self.wo(h2)[..., 0], glance).float()
        asked = (first > DOUBT).float().detach()
        likely = torch.sigmoid(first)[..., None] * seen[..., None]
        summary = ((likely * h2).sum(-2, keepdim=True) / (1 + likely.sum(-2, keepdim=True))).to(h2.dtype)
        around = torch.cat([self.around(h2), summary.expand_as(h2)], -1)
        return glance.float(), first, asked, torch.relu(self.w3(torch.cat([torch.relu(self.wc(around)), h2], -1)))

    @staticmethod
    def around(of_keys):
        """What the keys at INTERVALS from each hold, one after the other; zeros beyond the keyboard."""
        padded = torch.nn.functional.pad(of_keys, (0, 0, FARTHEST, FARTHEST))
        return torch.cat([padded.narrow(-2, FARTHEST + i, KEYS) for i in INTERVALS], -1)

    def forward(self, x):
        glance, first, asked, h3 = self.frames_alone(x)
        z = torch.sigmoid(self.wz(h3).float())
        h = remember((1 - z) * asked[..., None], z * self.wn(h3) * asked[..., None])
        out = self.wh(torch.relu(self.w4(torch.cat([h.to(h3.dtype), h3], -1)))).float()
        return *self.answers(first, asked, out), first, glance, *self.second_look(first, asked, h3, h)

    def second_look(self, first, asked, h3, h):
        """Logits 'sounding', 'struck just now' and 'pedal down' of those who know what comes after."""
        z = torch.sigmoid(self.wzb(h3).float())
        back = remember_back((1 - z) * asked[..., None], z * self.wnb(h3) * asked[..., None])
        h5 = torch.relu(self.w5(torch.cat([h.to(h3.dtype), back.to(h3.dtype), h3], -1)))
        out = self.wh2(h5).float()
        there = h5.float() * asked[..., None]
        many = torch.sigmoid(torch.stack(self.answers(first, asked, out), -2)).unflatten(-1, (STRETCHES, STRETCH)).sum(-1).flatten(-2)
        found = torch.cat([there.sum(-2) / (1 + asked.sum(-1, keepdim=True)), there.amax(-2), many], -1)
        p = torch.relu(self.wp(found)).float()
        z, new = torch.sigmoid(self.wzp(p).float()), self.wnp(p).float()
        (zf, zb), (nf, nb) = z.chunk(2, -1), new.chunk(2, -1)
        q = torch.cat([remember(1 - zf, zf * nf), remember_back(1 - zb, zb * nb)], -1)
        pedal = self.wq(torch.cat([q, p], -1)).float()[..., 0]
        return *self.answers(first, asked, out + self.second_round(h5, asked, q.to(h5.dtype))), pedal

    def second_round(self, h5, asked, q):
        """What is added to the logits once the neighbours and the pedal have told what they know."""
        told = torch.relu(self.wt(h5)) * asked[..., None]
        among = torch.relu(self.wa(self.around(told.to(h5.dtype))))
        of_all = q[..., None, :].expand(*h5.shape[:-1], q.shape[-1])
        return self.wh3(torch.relu(self.w6(torch.cat([among, h5, of_all], -1)))).float()

    @staticmethod
    def answers(first, asked, out):
        """Logits 'sounding' and 'struck just now'; a key out of question is left as it is, and was not struck either."""
        return first + asked * out[..., 0], asked * out[..., 1] + (1 - asked) * 2 * DOUBT
